"""The agent as one file: ``python3 fadewatch-agent.pyz``."""

import io
import zipfile
from pathlib import Path

from bundling.sources import Files, write

NAME = "fadewatch-agent.pyz"
_START_LINE = b"#!/usr/bin/env -S python3 -I -S\n"
_NO_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest that the format can say
_UNIX = 3


def build(files: Files, out: Path) -> Path:
    """Write the file and return its path."""
    path = out / NAME
    write(path, _START_LINE + archive(files), 0o755)
    return path


def archive(files: Files) -> bytes:
    """Return a ZIP archive that depends on the files alone: order, times, rights."""
    raw = io.BytesIO()
    with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as packed:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, _NO_TIME)
            entry.create_system = _UNIX
            entry.external_attr = 0o100644 << 16
            entry.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(entry, files[name])
    return raw.getvalue()
