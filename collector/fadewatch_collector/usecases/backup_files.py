"""A backup on the disk: its file, and beside it the manifest that proves it whole."""

import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal, get_args

from fadewatch_collector.errors import BackupProblem

FORM = 1
"""Form of the manifest; counts up when its meaning changes."""

SUFFIX = ".manifest.json"
OWNER_ONLY = 0o600
"""A backup holds hashes of passwords and keys, and what signs cookies."""

Engine = Literal["sqlite", "postgresql"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup holds, written when all of it is on the disk.

    Attributes
    ----------
    made_at
        RFC 3339, UTC.
    written_by
        The program that wrote the file, for PostgreSQL.
    rows
        Rows by table, at the moment of the backup.
    """

    engine: Engine
    made_at: str
    program_version: str
    schema_revision: str | None
    size_bytes: int
    sha256: str
    rows: Mapping[str, int]
    written_by: str | None = None

    def to_json(self) -> str:
        """Return it as it is written beside the backup."""
        return json.dumps({"form": FORM} | asdict(self), indent=1) + "\n"


def manifest_path(backup: Path) -> Path:
    """Return where a backup's manifest stands."""
    return backup.with_name(backup.name + SUFFIX)


def read_manifest(backup: Path) -> Manifest:
    """Read a backup's manifest.

    Raises
    ------
    BackupProblem
        There is none, or it is none of ours.
    """
    path = manifest_path(backup)
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise BackupProblem(
            f"{path} is not there: a backup without its manifest was not finished, or "
            "only one of its two files was kept"
        ) from None
    except (OSError, ValueError) as problem:
        raise BackupProblem(f"{path} cannot be read: {problem}") from problem
    return _manifest(told, path)


def _manifest(told: Any, path: Path) -> Manifest:
    if not isinstance(told, dict) or told.pop("form", None) != FORM:
        raise BackupProblem(f"{path} is no manifest that this Fadewatch knows")
    try:
        manifest = Manifest(**told)
    except TypeError as problem:
        raise BackupProblem(f"{path} is not whole: {problem}") from problem
    if manifest.engine not in get_args(Engine) or not isinstance(manifest.rows, dict):
        raise BackupProblem(f"{path} is no manifest that this Fadewatch knows")
    return manifest


def measure(path: Path) -> tuple[int, str]:
    """Return a file's size [bytes] and its SHA-256, by its hexadecimal digits."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return path.stat().st_size, digest


def verify(backup: Path, manifest: Manifest) -> None:
    """Compare a backup with its manifest.

    Raises
    ------
    BackupProblem
        It is not there, cut off or changed.
    """
    try:
        size, digest = measure(backup)
    except OSError as problem:
        raise BackupProblem(f"{backup} cannot be read: {problem}") from problem
    if size != manifest.size_bytes:
        raise BackupProblem(
            f"{backup} has {size:,} bytes and should have {manifest.size_bytes:,}: it "
            "is not whole"
        )
    if digest != manifest.sha256:
        raise BackupProblem(f"{backup} is not what was written: its SHA-256 differs")


@contextmanager
def unfinished(target: Path) -> Iterator[Path]:
    """Give a path beside the target; what is left there by a failure is removed.

    Raises
    ------
    BackupProblem
        The target is there already, or its folder is not.
    """
    if target.exists() or manifest_path(target).exists():
        raise BackupProblem(f"{target} is there already; name another file")
    if not target.parent.is_dir():
        raise BackupProblem(f"there is no folder {target.parent}")
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    part.unlink(missing_ok=True)
    try:
        yield part
    finally:
        part.unlink(missing_ok=True)


def put_in_place(part: Path, target: Path) -> None:
    """Give a file its name once all of it is on the disk."""
    part.chmod(OWNER_ONLY)
    sync(part)
    part.replace(target)
    sync(target.parent)


def write_manifest(backup: Path, manifest: Manifest) -> None:
    """Write the manifest, last: with it the backup is finished."""
    path = manifest_path(backup)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.touch(OWNER_ONLY)
        part.write_text(manifest.to_json(), encoding="utf-8")
        put_in_place(part, path)
    finally:
        part.unlink(missing_ok=True)


def sync(path: Path) -> None:
    """Wait until a file or folder is on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
