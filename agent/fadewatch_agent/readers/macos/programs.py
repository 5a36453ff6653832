"""The two programs of macOS that the readers run, and what they print.

``ioreg`` prints the I/O registry as a property list. It is run in place of calling
IOKit through ctypes: the list is the same, a mistake in a prototype cannot crash the
agent, and a laptop that hangs in a driver costs a time limit and no more.
"""

import plistlib
import re
import subprocess
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from xml.parsers.expat import ExpatError

from fadewatch_agent.errors import AgentError

IOREG = "/usr/sbin/ioreg"
SYSCTL = "/usr/sbin/sysctl"
"""By their whole path: no program that lies elsewhere is ever run."""

LONGEST_RUN = 20.0
"""Longest time that a program may take [s]; own choice."""

_ENVIRONMENT = {"PATH": "/usr/bin:/bin:/usr/sbin:/sbin", "LC_ALL": "C"}
# ioreg writes firmware's texts as they are; XML forbids most control characters.
_CONTROLS = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]")

Entry = Mapping[str, Any]
"""One entry of the registry: its properties by name."""

Run = Callable[[Sequence[str]], bytes]
"""Runs a program and returns what it printed, or raises ProgramFailed."""


class ProgramFailed(AgentError, OSError):
    """A program of the system did not do what it was asked."""

    def __init__(self, words: Sequence[str], why: str) -> None:
        super().__init__(f"{' '.join(words)}: {why}")


def run_program(words: Sequence[str], seconds: float = LONGEST_RUN) -> bytes:
    """Run a program and return what it printed.

    Parameters
    ----------
    seconds
        Longest time that it may take [s].

    Raises
    ------
    ProgramFailed
        It is missing, takes too long, or ends with an error.
    """
    try:
        ran = subprocess.run(  # noqa: S603  whole paths and fixed words alone
            words,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=seconds,
            env=_ENVIRONMENT,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise ProgramFailed(words, f"it took more than {seconds:g} s") from error
    except OSError as error:
        raise ProgramFailed(words, error.strerror or repr(error)) from error
    if ran.returncode:
        raise ProgramFailed(words, f"it ended with {ran.returncode}")
    return ran.stdout


def registry(run: Run, kind: str, *options: str) -> tuple[Entry, ...]:
    """Return the entries of a class, and of those derived from it.

    Parameters
    ----------
    run
        Runs a program.
    kind
        Name of the class.
    options
        Further options of ioreg.

    Raises
    ------
    ProgramFailed
        It cannot be run, or prints no property list.
    """
    words = (IOREG, "-a", "-r", "-c", kind, *options)
    printed = _CONTROLS.sub(b"", run(words)).strip()
    # Without a match it prints nothing at all.
    if not printed:
        return ()
    try:
        entries = plistlib.loads(printed, fmt=plistlib.FMT_XML)
    except (ValueError, ExpatError, LookupError, TypeError, OverflowError) as error:
        raise ProgramFailed(words, "what it prints is no property list") from error
    if not isinstance(entries, list):
        raise ProgramFailed(words, "what it prints is no list of entries")
    return tuple(entry for entry in entries if isinstance(entry, dict))


def setting(run: Run, name: str) -> bytes:
    """Return a value of the kernel.

    Raises
    ------
    ProgramFailed
        There is no such value.
    """
    return run((SYSCTL, "-n", name)).strip()
