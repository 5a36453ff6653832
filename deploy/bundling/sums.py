"""SHA256SUMS over all that was built: ``sha256sum --check SHA256SUMS``."""

import hashlib
from pathlib import Path

from bundling.sources import write

NAME = "SHA256SUMS"


def write_sums(out: Path) -> Path:
    """Write the digests of every file below a folder and return the file's path."""
    path = out / NAME
    lines = [
        f"{hashlib.sha256(file.read_bytes()).hexdigest()}  {file.relative_to(out).as_posix()}\n"
        for file in sorted(out.rglob("*"))
        if file.is_file() and file != path
    ]
    write(path, "".join(lines).encode())
    return path
