"""The one place where the agent asks which operating system it runs on."""

import os
import sys
from pathlib import Path

from fadewatch_agent.errors import AgentError
from fadewatch_agent.readers.machine import Machine


class UnknownSystem(AgentError, OSError):
    """There is no reader for this operating system."""


def this_machine() -> Machine:
    """Return the readers of this system.

    Raises
    ------
    UnknownSystem
        The agent has no reader for this system.
    """
    machine: Machine
    # What one system needs is loaded there alone.
    if sys.platform == "linux":
        machine = saved_tree(Path("/"))
    elif sys.platform == "win32":
        from fadewatch_agent.readers.windows.machine import (  # noqa: PLC0415
            WindowsMachine,
        )
        from fadewatch_agent.readers.windows.system_calls import (  # noqa: PLC0415
            SystemCalls,
            system_libraries,
        )

        machine = WindowsMachine(SystemCalls(system_libraries()))
    elif sys.platform == "darwin":
        from fadewatch_agent.readers.macos.machine import (  # noqa: PLC0415
            MacMachine,
            own_hostname,
        )
        from fadewatch_agent.readers.macos.programs import run_program  # noqa: PLC0415

        machine = MacMachine(run_program, own_hostname())
    else:
        machine = _no_machine()
    return machine


def saved_tree(root: Path) -> Machine:
    """Return the readers of a saved tree of Linux's /sys and /proc.

    Raises
    ------
    UnknownSystem
        This is not Linux: names and links of such a tree do not fit elsewhere.
    """
    if sys.platform == "linux":
        from fadewatch_agent.readers.files import SystemFiles  # noqa: PLC0415
        from fadewatch_agent.readers.linux import LinuxMachine  # noqa: PLC0415

        return LinuxMachine(SystemFiles(root))
    raise UnknownSystem("a saved tree of Linux can be read on Linux alone")


def _no_machine() -> Machine:
    raise UnknownSystem(f"there is no reader for the system {sys.platform!r}")


def system_name() -> str:
    """Name this system, its version and its kind of processor."""
    if sys.platform == "win32":
        version = sys.getwindowsversion()
        build = f"{version.major}.{version.minor}.{version.build}"
        name = f"Windows {build} {os.environ.get('PROCESSOR_ARCHITECTURE', '')}"
    else:
        system = os.uname()
        kernel = "macOS, Darwin" if sys.platform == "darwin" else system.sysname
        name = f"{kernel} {system.release} {system.machine}"
    return name
