"""How the agent is started once it is set up, and the files put in place for it."""

import os
import re
import sys
from pathlib import Path, PurePath, PurePosixPath
from typing import NamedTuple

from fadewatch_agent.bundle import Bundle, bundle_root, carried_python, read_bundle
from fadewatch_agent.errors import NotABundle, NotSetUp
from fadewatch_agent.installation.plan import PlannedFile, Step, step
from fadewatch_agent.places import Places

PACKAGED = PurePosixPath("/usr/lib/fadewatch-agent")
"""Where a package of the operating system keeps the program; it stays there."""

COMMAND = PurePosixPath("/usr/local/bin/fadewatch-agent")
"""The command that people type, where the program was put in place by ``install``."""

_ISOLATED = ("-I", "-S")
"""The interpreter sees its own library and the agent, no site packages."""

_NAME = Path(sys.executable).name
_USUAL = "/usr/bin/python3"
_VERSIONED = re.compile(r"python3\.(\d+)$")
_LEAST_MINOR = 11
_OPEN_MODE, _PROGRAM_MODE = 0o644, 0o755


class Program(NamedTuple):
    """How the agent is started, and what is put in place for it.

    Attributes
    ----------
    command
        The program and its first arguments.
    files
        Files to put in place; none when the agent stays where it is.
    after
        Steps once the files are there.
    """

    command: tuple[str, ...]
    files: tuple[PlannedFile, ...] = ()
    after: tuple[Step, ...] = ()


def this_program(places: Places, root: Path = Path("/")) -> Program:
    """Return how the running agent is started once it is set up.

    A bundle is unpacked into the program's folder, where Python can keep it compiled;
    a package of the operating system and a Python package stay where they are.

    Parameters
    ----------
    root
        Root of the machine or image that is set up.
    """
    where = bundle_root()
    try:
        bundle = read_bundle(where)
    except NotABundle:
        return Program((_lasting(sys.executable), "-m", "fadewatch_agent"))
    carried = carried_python(where)
    python = "" if carried else system_python(root) or _lasting(sys.executable)
    if where.resolve() in (Path(PACKAGED), Path(places.program)):
        at_home = (carried and str(carried / _NAME)) or python
        return Program((at_home, *_ISOLATED, str(where)))
    return placed(bundle, places.program, python, carried)


def placed(
    bundle: Bundle, folder: PurePath, python: str, carried: Path | None = None
) -> Program:
    """Return a bundle as it is put into the program's folder.

    Parameters
    ----------
    python
        The system's interpreter, which runs it unless one is carried.
    carried
        Folder of the Python that comes with the bundle, or None for the system's.
    """
    files = [
        PlannedFile(folder / PurePosixPath(name), content, _OPEN_MODE)
        for name, content in bundle.files.items()
    ]
    if carried is not None:
        files += _python_files(carried, folder / "python")
        python = str(folder / "python" / _NAME)
    command = (python, *_ISOLATED, str(folder))
    if isinstance(folder, PurePosixPath):
        files.append(PlannedFile(COMMAND, starter(command), _PROGRAM_MODE))
    compiling = step(*command[:-1], "-m", "compileall", "-q", str(folder))
    return Program(command, tuple(files), (compiling,))


def starter(command: tuple[str, ...]) -> bytes:
    """Return the shell script that people type."""
    quoted = " ".join(f"'{word}'" if " " in word else word for word in command)
    return f'#!/bin/sh\nexec {quoted} "$@"\n'.encode()


def system_python(root: Path) -> str | None:
    """Return the system's own Python where it is new enough; None where it is not."""
    usual = root / "usr/bin/python3"
    try:
        name = os.readlink(usual)  # noqa: PTH115  the target's text, not its place
    except OSError:
        return None
    found = _VERSIONED.search(name)
    return _USUAL if found and int(found[1]) >= _LEAST_MINOR else None


def _lasting(python: str) -> str:
    """Return an interpreter that a service can start.

    Raises
    ------
    NotSetUp
        It stands in somebody's home, which services do not see.
    """
    if python.startswith(("/root/", "/home/")):
        raise NotSetUp(
            f"{python} stands in a home folder, which the service does not see: run "
            "this with a Python 3.11 or newer that is installed for everyone"
        )
    return python


def _python_files(source: Path, folder: PurePath) -> list[PlannedFile]:
    return [
        PlannedFile(folder / file.relative_to(source), file.read_bytes(), _PROGRAM_MODE)
        for file in sorted(source.rglob("*"))
        if file.is_file() and file.parent.name != "__pycache__"
    ]
