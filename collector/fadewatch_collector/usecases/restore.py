"""Restore a backup into a fresh data folder or an empty database."""

import asyncio
import shutil
from dataclasses import dataclass
from pathlib import Path

from fadewatch_collector.errors import BackupProblem, StoreIsNewer
from fadewatch_collector.store import sqlite_backup
from fadewatch_collector.store.emptying import other_sessions, put_aside, take_back
from fadewatch_collector.store.lock import alone_in_background, held_folder
from fadewatch_collector.store.postgres_tools import restore_dump
from fadewatch_collector.store.rows_counted import rows_by_table, table_names
from fadewatch_collector.store.schema import known_revisions, newest_revision
from fadewatch_collector.usecases.backup_files import (
    OWNER_ONLY,
    Manifest,
    put_in_place,
    read_manifest,
    verify,
)
from fadewatch_collector.usecases.services import Services


@dataclass(frozen=True, slots=True)
class Restored:
    """What was restored.

    Attributes
    ----------
    put_aside
        Where what was there before is kept; None when there was nothing.
    """

    manifest: Manifest
    put_aside: str | None


async def restore(
    services: Services, backup: Path, tools: Path | None, *, replace: bool
) -> Restored:
    """Restore a backup, after its checksum was compared.

    Parameters
    ----------
    replace
        Put a store that is there aside instead of refusing; nothing of it is deleted.

    Raises
    ------
    BackupProblem
        The backup is not whole, is of another database, or the target is not empty.
    StoreIsNewer
        A newer Fadewatch wrote it.
    StoreIsBusy
        A service uses the target.
    """
    manifest = await asyncio.to_thread(read_manifest, backup)
    _refuse_other(services, manifest, backup)
    await asyncio.to_thread(verify, backup, manifest)
    if services.store.is_sqlite:
        with held_folder(services.settings.data_folder):
            async with alone_in_background(services.store):
                aside = await asyncio.to_thread(
                    _into_sqlite, services, backup, manifest, replace=replace
                )
    else:
        aside = await _into_postgres(services, backup, manifest, tools, replace=replace)
    return Restored(manifest, aside)


def _refuse_other(services: Services, manifest: Manifest, backup: Path) -> None:
    here = "sqlite" if services.store.is_sqlite else "postgresql"
    if manifest.engine != here:
        raise BackupProblem(
            f"{backup} is a backup of {manifest.engine}, and this collector uses {here}"
        )
    revision = manifest.schema_revision
    if revision is None:
        raise BackupProblem(f"{backup} is of a store without any table")
    if revision not in known_revisions():
        raise StoreIsNewer(revision, newest_revision())


def _into_sqlite(
    services: Services, backup: Path, manifest: Manifest, *, replace: bool
) -> str | None:
    target = Path(services.store.path)
    files = [path for path in _store_files(target) if path.exists()]
    if files and not replace:
        raise _not_empty(target, "--replace keeps it beside the restored one")
    part = target.with_name(f".{target.name}.restored.part")
    part.unlink(missing_ok=True)
    try:
        part.touch(OWNER_ONLY)
        shutil.copyfile(backup, part)
        _compare(sqlite_backup.look_into(part).rows, manifest)
        verify(part, manifest)
        kept = target.with_name(
            f"{target.name}.before-{services.clock():%Y%m%dT%H%M%SZ}"
        )
        for path in files:
            path.rename(kept.with_name(kept.name + path.name[len(target.name) :]))
        put_in_place(part, target)
    finally:
        part.unlink(missing_ok=True)
    return str(kept) if files else None


def _store_files(store: Path) -> list[Path]:
    """Return the files that a SQLite store may consist of."""
    return [store.with_name(store.name + end) for end in ("", "-wal", "-shm")]


async def _into_postgres(
    services: Services,
    backup: Path,
    manifest: Manifest,
    tools: Path | None,
    *,
    replace: bool,
) -> str | None:
    store, url = services.store, services.settings.store_url
    async with store.reading() as connection:
        tables = await table_names(connection)
        others = await other_sessions(connection)
    schema = None
    if tables and not replace:
        raise _not_empty("the database", "--replace moves its tables to another schema")
    if tables and others:
        raise BackupProblem(
            f"{others} other sessions use the database: stop every collector first"
        )
    if tables:
        schema = f"before_{services.clock():%Y%m%d_%H%M%S}"
        async with store.writing() as connection:
            await put_aside(connection, schema)
    try:
        await restore_dump(store, url, backup, tools)
    except BackupProblem:
        if schema is not None:
            async with store.writing() as connection:
                await take_back(connection, schema)
        raise
    async with store.reading() as connection:
        _compare(await rows_by_table(connection), manifest)
    return schema and f"the schema {schema}"


def _not_empty(target: object, way: str) -> BackupProblem:
    return BackupProblem(
        f"{target} is not empty and was left alone. Restore into a fresh one, or use "
        f"--replace: {way}"
    )


def _compare(rows: dict[str, int], manifest: Manifest) -> None:
    for name in sorted(rows.keys() | manifest.rows.keys()):
        if rows.get(name) != manifest.rows.get(name):
            raise BackupProblem(
                f"the table {name} holds {rows.get(name)} rows and held "
                f"{manifest.rows.get(name)} when it was backed up"
            )
