"""Sizes, offsets and values as mingw-w64's headers give them, compiled and read back.

Nothing is run: the compiler lays out a table of numbers, and the table is cut out of
the object file.
"""

import shutil
import struct
import subprocess
from collections.abc import Sequence
from pathlib import Path

COMPILERS = {
    "x86_64": "x86_64-w64-mingw32",
    "i686": "i686-w64-mingw32",
}
"""By processor, what the tools' names begin with."""

_INCLUDES = """
#define WIN32_LEAN_AND_MEAN
#include <windows.h>
#include <stddef.h>
#include <initguid.h>
#include <winioctl.h>
#include <setupapi.h>
#include <poclass.h>
"""


def has_compiler(processor: str) -> bool:
    return shutil.which(f"{COMPILERS[processor]}-gcc") is not None


def numbers(processor: str, expressions: Sequence[str], folder: Path) -> list[int]:
    """Compile constant expressions and return their values, as unsigned 64 bits."""
    rows = ",\n".join(f"(unsigned long long)({e})" for e in expressions)
    source = (
        f"{_INCLUDES}\nconst unsigned long long told[]"
        f' __attribute__((section(".told"), used)) = {{\n{rows}\n}};\n'
    )
    raw = _section(processor, source, ".told", folder)
    return list(struct.unpack(f"<{len(expressions)}Q", raw[: 8 * len(expressions)]))


def guid(processor: str, name: str, folder: Path) -> bytes:
    """Return a GUID of the headers in memory order."""
    source = f"{_INCLUDES}\nconst GUID *const used = &{name};\n"
    return _section(processor, source, f".rdata${name}", folder)[:16]


def _section(processor: str, source: str, section: str, folder: Path) -> bytes:
    tools = COMPILERS[processor]
    written, made, cut = (folder / f"told.{ending}" for ending in ("c", "o", "bin"))
    written.write_text(source)
    _run(f"{tools}-gcc", "-Wno-multichar", "-c", str(written), "-o", str(made))
    _run(f"{tools}-objcopy", "-O", "binary", "-j", section, str(made), str(cut))
    return cut.read_bytes()


def _run(*words: str) -> None:
    ran = subprocess.run(words, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
