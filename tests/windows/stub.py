"""Build the stub library, for this machine or for Windows."""

import shutil
import subprocess
from pathlib import Path

HERE = Path(__file__).parent
NATIVE = "gcc"
WINDOWS = "x86_64-w64-mingw32-gcc"


def has(compiler: str) -> bool:
    return shutil.which(compiler) is not None


def build(compiler: str, into: Path) -> Path:
    """Compile stub.c without a warning and return the library."""
    options = ["-shared", "-O1", "-Wall", "-Wextra", "-Werror"]
    options.append("-static" if compiler == WINDOWS else "-fPIC")
    words = [compiler, *options, "-o", str(into), str(HERE / "stub.c")]
    ran = subprocess.run(words, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    return into
