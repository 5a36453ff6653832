"""The files that this agent runs from: a bundle's, or those of a Python package."""

import hashlib
import sys
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import fadewatch_common
from fadewatch_agent.errors import NotABundle

MANIFEST = "fadewatch-agent.manifest"
"""Digests of a bundle's files, one a line as ``sha256sum`` writes them."""

STARTER = "__main__.py"
_PACKAGES = ("fadewatch_agent", "fadewatch_common")


class Bundle(NamedTuple):
    """A bundle's files by name, and where it stands: one file, or a folder."""

    root: Path
    files: Mapping[str, bytes]


class Verdict(NamedTuple):
    """What ``verify`` found.

    Attributes
    ----------
    digest
        SHA-256 of the manifest, which stands for the whole bundle.
    problems
        A sentence for each file that is not as it was built.
    """

    digest: str
    files: int
    problems: tuple[str, ...]


def bundle_root() -> Path:
    """Return the file or folder in which the running packages stand."""
    return Path(fadewatch_common.__path__[0]).parent


def read_bundle(root: Path) -> Bundle:
    """Read a bundle's files.

    Raises
    ------
    NotABundle
        It holds no manifest: the agent was installed as a Python package.
    """
    files = _of_archive(root) if root.is_file() else _of_folder(root)
    if MANIFEST not in files:
        raise NotABundle(root)
    return Bundle(root, files)


def verify(bundle: Bundle) -> Verdict:
    """Compare a bundle's files with its manifest."""
    manifest = bundle.files[MANIFEST]
    told = dict(_lines(manifest.decode(errors="replace")))
    problems = []
    for name, digest in told.items():
        content = bundle.files.get(name)
        if content is None:
            problems.append(f"{name} is missing")
        elif hashlib.sha256(content).hexdigest() != digest:
            problems.append(f"{name} is not what was built")
    added = sorted(bundle.files.keys() - told.keys() - {MANIFEST})
    problems += [f"{name} was added" for name in added]
    return Verdict(hashlib.sha256(manifest).hexdigest(), len(told), tuple(problems))


def manifest_of(files: Mapping[str, bytes]) -> bytes:
    """Write the manifest of a bundle's files."""
    lines = [f"{hashlib.sha256(files[n]).hexdigest()}  {n}\n" for n in sorted(files)]
    return "".join(lines).encode()


def carried_python(root: Path) -> Path | None:
    """Return the folder of a Python that stands beside the bundle; None without."""
    folder = Path(sys.executable).parent
    beside = (root if root.is_dir() else root.parent).resolve()
    return folder if folder.resolve() == beside / "python" else None


def _lines(text: str) -> list[tuple[str, str]]:
    pairs = [line.split("  ", 1) for line in text.splitlines()]
    return [(pair[1], pair[0]) for pair in pairs if len(pair) == 2]  # noqa: PLR2004


def _of_archive(root: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(root) as archive:
        return {n: archive.read(n) for n in archive.namelist() if not n.endswith("/")}


def _of_folder(root: Path) -> dict[str, bytes]:
    """Read what belongs to a bundle; compiled files come and go beside it."""
    single = [root / MANIFEST, root / STARTER]
    inside = [file for name in _PACKAGES for file in (root / name).rglob("*")]
    return {
        file.relative_to(root).as_posix(): file.read_bytes()
        for file in (*single, *inside)
        if file.is_file() and file.suffix != ".pyc"
    }
