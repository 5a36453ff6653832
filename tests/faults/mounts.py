"""A small file system of its own, which can be filled up and made read-only."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path


class NoMount(Exception):
    """File systems cannot be mounted here: this takes root."""


@dataclass(frozen=True, slots=True)
class Disk:
    """A mounted file system in memory."""

    folder: Path

    @property
    def _filler(self) -> Path:
        return self.folder / "filler"

    def fill(self, leave: int = 0) -> None:
        """Write until nothing more fits, then give some bytes back."""
        with suppress(OSError), self._filler.open("ab", buffering=0) as file:
            while file.write(bytes(64 * 1024)):
                pass
        os.truncate(self._filler, max(0, self._filler.stat().st_size - leave))

    def empty(self) -> None:
        """Take away what filled it."""
        self._filler.unlink()

    def read_only(self, *, on: bool) -> None:
        """Make it read-only, or writable again."""
        options = f"remount,{'ro' if on else 'rw'}"
        subprocess.run(["mount", "-o", options, self.folder], check=True)


@contextmanager
def mounted(folder: Path, size: str) -> Iterator[Disk]:
    """Mount a file system of a size in memory at a new folder while in the block.

    Raises
    ------
    NoMount
        It cannot be done here.
    """
    folder.mkdir()
    options = f"size={size},mode=0700"
    words = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    try:
        subprocess.run(words, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError) as error:
        raise NoMount(f"no file system can be mounted: {error}") from error
    try:
        yield Disk(folder)
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)
