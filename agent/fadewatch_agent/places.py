"""Where the agent's files are, by operating system."""

import os
from collections.abc import Mapping
from pathlib import PurePath, PurePosixPath, PureWindowsPath
from typing import NamedTuple


class Places(NamedTuple):
    """The agent's files on one system.

    Attributes
    ----------
    settings
        The settings file.
    token
        The enrolment token.
    ca
        Certificates of the organisation's own authority.
    state
        Folder of queue, key and what is known of the last run.
    program
        Folder of the program, where ``install`` puts it.
    """

    settings: PurePath
    token: PurePath
    ca: PurePath
    state: PurePath
    program: PurePath


def places_of(platform: str, environment: Mapping[str, str]) -> Places:
    """Return the places on a system by its ``sys.platform``."""
    if platform == "win32":
        data = PureWindowsPath(environment.get("PROGRAMDATA", r"C:\ProgramData"))
        programs = PureWindowsPath(environment.get("PROGRAMFILES", r"C:\Program Files"))
        return _below(
            data / "Fadewatch", data / "Fadewatch/state", programs / "Fadewatch"
        )
    program = PurePosixPath("/usr/local/lib/fadewatch-agent")
    if platform == "darwin":
        folder = PurePosixPath("/Library/Application Support/Fadewatch")
        return _below(folder, folder / "state", program)
    state = PurePosixPath("/var/lib/fadewatch-agent")
    return _below(PurePosixPath("/etc/fadewatch"), state, program)


def here(platform: str) -> Places:
    """Return the places on this machine."""
    return places_of(platform, os.environ)


def _below(settings: PurePath, state: PurePath, program: PurePath) -> Places:
    return Places(
        settings=settings / "agent.toml",
        token=settings / "token",
        ca=settings / "ca.pem",
        state=state,
        program=program,
    )
