"""Back a store up while the service writes to it."""

import asyncio
from collections.abc import Callable
from pathlib import Path

from fadewatch_collector.store import sqlite_backup
from fadewatch_collector.store.postgres_tools import dump
from fadewatch_collector.usecases.backup_files import (
    OWNER_ONLY,
    Manifest,
    measure,
    put_in_place,
    unfinished,
    write_manifest,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_common import __version__

OnPages = Callable[[int, int], None]


def backup_file(services: Services, out: Path) -> Path:
    """Return the file to write: a folder gets one with the moment in its name."""
    if not out.is_dir():
        return out
    end = "sqlite3" if services.store.is_sqlite else "dump"
    return out / f"fadewatch-{services.clock():%Y%m%dT%H%M%SZ}.{end}"


async def back_up(
    services: Services, target: Path, tools: Path | None, on_pages: OnPages
) -> Manifest:
    """Write the store as it is at this moment, and its manifest.

    The file gets its name once all of it is on the disk and was looked through; the
    manifest is written last.

    Parameters
    ----------
    tools
        Folder of PostgreSQL's programs; None looks where they usually are.
    on_pages
        Called with the pages left and all pages, for SQLite.

    Raises
    ------
    BackupProblem
        The target is there already, the store is damaged, or PostgreSQL's program is
        missing or failed.
    StoreTrouble
        The store cannot be read, or there is no room.
    """
    with unfinished(target) as part:
        write = _from_sqlite if services.store.is_sqlite else _from_postgres
        manifest = await write(services, part, tools, on_pages)
        put_in_place(part, target)
    write_manifest(target, manifest)
    return manifest


async def _from_sqlite(
    services: Services, part: Path, _tools: Path | None, on_pages: OnPages
) -> Manifest:
    made_at = services.clock()
    source = Path(services.store.path)
    await asyncio.to_thread(sqlite_backup.copy_store, source, part, on_pages)
    held = await asyncio.to_thread(sqlite_backup.look_into, part)
    size, digest = await asyncio.to_thread(measure, part)
    return Manifest(
        engine="sqlite",
        made_at=made_at.isoformat(timespec="seconds"),
        program_version=__version__,
        schema_revision=held.revision,
        size_bytes=size,
        sha256=digest,
        rows=held.rows,
    )


async def _from_postgres(
    services: Services, part: Path, tools: Path | None, _on_pages: OnPages
) -> Manifest:
    made_at = services.clock()
    await asyncio.to_thread(part.touch, OWNER_ONLY, exist_ok=False)
    url = services.settings.store_url
    dumped = await dump(services.store, url, part, tools)
    size, digest = await asyncio.to_thread(measure, part)
    return Manifest(
        engine="postgresql",
        made_at=made_at.isoformat(timespec="seconds"),
        program_version=__version__,
        schema_revision=dumped.revision,
        size_bytes=size,
        sha256=digest,
        rows=dumped.rows,
        written_by=dumped.program,
    )
