"""Files of the kernel, or of a saved tree, and the text in them."""

import errno
import os
import re
from pathlib import Path

from fadewatch_common.report import NAME_LENGTH

_SPACES = re.compile(
    "[\x00-\x20\x7f-\xa0\u2028-\u202e\u2066-\u2069\ud800-\udfff]+",
)
"""What no name or serial has any use for: controls, line and paragraph ends, halves of
characters, and the marks that turn round the reading direction of what follows
(Unicode Standard Annex 9, section 2)."""

_LONGEST_NUMBER = 20
"""Characters of the longest 64-bit number with its sign."""

LENT = "CREDENTIALS_DIRECTORY"
"""Variable with the folder of lent files."""

_REASONS = {
    errno.EACCES: "permission denied",
    errno.EPERM: "permission denied",
    errno.ENODEV: "the firmware does not know it",
    errno.ENODATA: "the driver has no value",
    errno.EAGAIN: "the driver was busy",
    errno.EIO: "the hardware did not answer",
    errno.ENOENT: "it is not offered",
}


class SystemFiles:
    """The files under /sys and /proc, of this system or of a saved tree.

    A saved tree has folders ``sys`` and ``proc``; a tree without them is taken for a
    saved /sys itself. ``lent`` is the folder of copies that the service manager made
    of files that this account may not read (systemd.exec(5), LoadCredential=).
    """

    __slots__ = ("lent", "proc", "sys")

    def __init__(self, root: Path = Path("/"), lent: Path | None = None) -> None:
        whole = root / "sys"
        self.sys = whole if whole.is_dir() else root
        self.proc = root / "proc"
        if lent is None and root == Path("/") and LENT in os.environ:
            lent = Path(os.environ[LENT])
        self.lent = lent

    def folders(self, name: str) -> list[Path]:
        """List the entries of a folder of /sys by name; none when it is missing."""
        folder = self.sys / name
        try:
            return sorted(folder.iterdir())
        except OSError:
            return []


def read_bytes(path: Path) -> bytes:
    """Read a whole file in as few reads as possible: each may ask the hardware."""
    with path.open("rb", buffering=0) as file:
        return file.read()


def read_text(path: Path, limit: int = NAME_LENGTH) -> str | None:
    """Return a file's cleaned text; None when it is blank or cannot be read."""
    try:
        return clean(read_bytes(path), limit)
    except OSError:
        return None


def read_number(path: Path) -> int | None:
    """Return the number in a file; None when there is none."""
    return number(read_text(path))


def clean(raw: bytes | str, limit: int = NAME_LENGTH) -> str | None:
    """Return text fit for a report, or None when nothing is left.

    Firmware ships blanks, tabs, NULs and bytes that are not UTF-8: what is no
    character becomes U+FFFD, runs of blanks, control characters and marks that turn
    the reading direction round one space.
    """
    text = raw.decode("utf-8", "replace") if isinstance(raw, bytes) else raw
    return _SPACES.sub(" ", text).strip()[:limit].strip() or None


def number(text: str | None) -> int | None:
    """Return a decimal number; None for anything else."""
    digits = (text or "").strip()
    if len(digits) > _LONGEST_NUMBER or not digits.isascii():
        return None
    return int(digits) if digits.removeprefix("-").isdigit() else None


def reason(error: OSError) -> str:
    """Say why a file could not be read, in words and with the error's name."""
    code = error.errno or 0
    words = _REASONS.get(code) or os.strerror(code).lower()
    return f"{words} ({errno.errorcode.get(code, code)})"
