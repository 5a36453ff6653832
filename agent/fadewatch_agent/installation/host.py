"""The machine that is set up: its files, and the programs of its operating system."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path, PurePath
from typing import NamedTuple, Protocol

_PATIENCE_SECONDS = 120
"""Longest time for a program of the operating system [s]. Own choice."""


class Ran(NamedTuple):
    """How a program ended."""

    status: int
    said: str


class Host(Protocol):
    """What an installation asks of a machine.

    Places are absolute; a machine that is a folder (an image that is mounted, a
    package that is built) puts its own path before them and runs no programs.
    """

    platform: str
    is_running: bool

    def read(self, place: PurePath) -> bytes | None:
        """Return a file's bytes; None when there is none."""
        ...

    def write(self, place: PurePath, content: bytes, mode: int) -> None:
        """Put a file in place, whole or not at all, with the folders above it."""
        ...

    def link(self, place: PurePath, target: str) -> None:
        """Put a symbolic link in place."""
        ...

    def mode(self, place: PurePath) -> int | None:
        """Return the mode bits of a file or folder; None when there is none."""
        ...

    def ensure_folder(self, place: PurePath) -> None:
        """Make a folder for its owner alone, unless it is there."""
        ...

    def below(self, place: PurePath) -> list[str]:
        """Name what a folder holds, however deep; nothing when there is no folder."""
        ...

    def remove(self, place: PurePath) -> None:
        """Remove a file, a link or a folder with all it holds, if it is there."""
        ...

    def run(self, words: Sequence[str]) -> Ran:
        """Run a program of the operating system."""
        ...

    def may_set_up(self) -> bool:
        """Say whether this process has the rights that an installation takes."""
        ...


class ThisHost:
    """The machine itself, or an image of one in a folder."""

    def __init__(self, root: Path | None = None, platform: str = sys.platform) -> None:
        self.platform = platform
        self.is_running = root is None
        self._root = root

    def read(self, place: PurePath) -> bytes | None:
        """Return a file's bytes; None when there is none."""
        path = self._path(place)
        # Asked first: what a folder says to being read differs by system.
        if path.is_dir():
            return None
        try:
            return path.read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None

    def write(self, place: PurePath, content: bytes, mode: int) -> None:
        """Put a file in place, whole or not at all, with the folders above it."""
        path = self._path(place)
        path.parent.mkdir(parents=True, exist_ok=True)
        new = path.with_name(path.name + ".new")
        new.unlink(missing_ok=True)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        with open(os.open(new, flags, mode), "wb") as stream:  # noqa: PTH123
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        # The mode that was asked for, whatever the umask took away.
        new.chmod(mode)
        new.replace(path)

    def link(self, place: PurePath, target: str) -> None:
        """Put a symbolic link in place."""
        path = self._path(place)
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_symlink() and os.readlink(path) == target:  # noqa: PTH115
            return
        path.unlink(missing_ok=True)
        path.symlink_to(target)

    def mode(self, place: PurePath) -> int | None:
        """Return the mode bits of a file or folder; None when there is none."""
        try:
            return self._path(place).stat().st_mode & 0o7777
        except (FileNotFoundError, NotADirectoryError):
            return None

    def ensure_folder(self, place: PurePath) -> None:
        """Make a folder for its owner alone, unless it is there."""
        path = self._path(place)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.mkdir(mode=0o700, exist_ok=True)

    def below(self, place: PurePath) -> list[str]:
        """Name what a folder holds, however deep; nothing when there is no folder."""
        path = self._path(place)
        return sorted(str(item.relative_to(path)) for item in path.rglob("*"))

    def remove(self, place: PurePath) -> None:
        """Remove a file, a link or a folder with all it holds, if it is there."""
        path = self._path(place)
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)

    def run(self, words: Sequence[str]) -> Ran:
        """Run a program of the operating system; one that is missing ends with 127."""
        # A file, not a pipe: what a program starts and leaves may keep a pipe open, and
        # then not even the time limit ends the wait on Windows.
        with tempfile.TemporaryFile() as said:
            try:
                ran = subprocess.run(  # noqa: S603  programs of the system, by our own words
                    words,
                    stdin=subprocess.DEVNULL,
                    stdout=said,
                    stderr=subprocess.STDOUT,
                    timeout=_PATIENCE_SECONDS,
                    check=False,
                )
            except FileNotFoundError:
                return Ran(127, f"{words[0]} is not on this machine")
            except subprocess.TimeoutExpired:
                return Ran(124, f"{words[0]} took longer than {_PATIENCE_SECONDS} s")
            said.seek(0)
            return Ran(ran.returncode, said.read().decode(errors="replace").strip())

    def may_set_up(self) -> bool:
        """Say whether this process has the rights that an installation takes."""
        if not self.is_running:
            return True
        if sys.platform == "win32":
            import ctypes  # noqa: PLC0415

            entitled = bool(ctypes.windll.shell32.IsUserAnAdmin())
        else:
            entitled = os.geteuid() == 0
        return entitled

    def _path(self, place: PurePath) -> Path:
        if self._root is None:
            return Path(place)
        # A drive letter of an image's places means the image itself.
        return self._root.joinpath(*place.relative_to(place.anchor).parts)
