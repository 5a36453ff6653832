"""Locking, replacing and syncing files, as each operating system wants it."""

import os
import sys
import time
from pathlib import Path

_REPLACE_TRIES = 20
_REPLACE_PAUSE = 0.05
"""Pause before a file is replaced again [s]; own choice."""

if sys.platform == "win32":
    import errno
    import msvcrt

    _HELD = (errno.EACCES, errno.EDEADLK, 0)
    """What a lock in other hands gives: by the documents, and on Wine no number."""

    def try_lock(descriptor: int) -> bool:
        """Lock an open file until it is closed; give False if another has it."""
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in _HELD:
                return False
            raise
        return True

    def replace(new: Path, old: Path) -> None:
        """Put a file in another one's place, whole or not at all.

        A file that somebody reads cannot be replaced on Windows, so it is tried again
        for a second.
        """
        for _ in range(_REPLACE_TRIES - 1):
            try:
                new.replace(old)
            except PermissionError:
                time.sleep(_REPLACE_PAUSE)
            else:
                return
        new.replace(old)

    def give_to_owner(descriptor: int, folder: Path) -> None:
        """Do nothing: on Windows a file takes its folder's access rights."""

    def sync_folder(folder: Path) -> None:
        """Do nothing: Windows has no way to sync a folder, and its journal no need."""

else:
    import fcntl

    def try_lock(descriptor: int) -> bool:
        """Lock an open file until it is closed; give False if another has it."""
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def replace(new: Path, old: Path) -> None:
        """Put a file in another one's place, whole or not at all."""
        new.replace(old)

    def give_to_owner(descriptor: int, folder: Path) -> None:
        """Give a file to the owner of its folder.

        The service runs as a user of its own: what root writes into the service's
        state, as at the bench, must stay the service's to read and replace.
        """
        if os.geteuid() == 0:
            owner = folder.stat()
            os.fchown(descriptor, owner.st_uid, owner.st_gid)

    def sync_folder(folder: Path) -> None:
        """Make sure that a folder's entries outlive a power loss."""
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
