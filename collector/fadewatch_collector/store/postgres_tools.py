"""Dump and restore a PostgreSQL database with PostgreSQL's own programs."""

import asyncio
import os
import re
import shlex
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from subprocess import PIPE

from sqlalchemy import URL, make_url, text

from fadewatch_collector.errors import BackupProblem
from fadewatch_collector.store.rows_counted import REVISION_TABLE, rows_by_table
from fadewatch_collector.store.store import Store
from fadewatch_collector.store.trouble import told_as_trouble

DEBIAN_TOOLS = Path("/usr/lib/postgresql")
"""Where Debian keeps the programs of each version."""

_LEAST = "--no-owner", "--no-privileges"
"""Another database has other accounts."""


@dataclass(frozen=True, slots=True)
class Dumped:
    """A dump, and what the database held at its moment."""

    revision: str | None
    rows: dict[str, int]
    program: str


async def dump(store: Store, url: str, target: Path, tools: Path | None) -> Dumped:
    """Write a database into a new file as it is at this moment.

    The rows are counted in the snapshot that is dumped, whoever writes meanwhile.

    Raises
    ------
    BackupProblem
        There is no fitting pg_dump, or it failed; the message says what to run.
    """
    with told_as_trouble() as progress:
        async with store.engine.connect() as plain:
            connection = await plain.execution_options(
                isolation_level="REPEATABLE READ"
            )
            progress.is_connected = True
            version = await connection.scalar(text("SHOW server_version_num"))
            snapshot = await connection.scalar(text("SELECT pg_export_snapshot()"))
            options = ["--format=custom", *_LEAST, f"--file={target}"]
            program = await fitting_program("pg_dump", version, url, options, tools)
            rows = await rows_by_table(connection)
            revision = None
            if rows.get(REVISION_TABLE):
                asked = text(f"SELECT version_num FROM {REVISION_TABLE}")  # noqa: S608
                revision = await connection.scalar(asked)
            await _run(program.path, [*options, f"--snapshot={snapshot}"], url)
    return Dumped(revision, rows, program.says)


async def restore_dump(
    store: Store, url: str, dump_file: Path, tools: Path | None
) -> None:
    """Bring a dump into an empty database, wholly or not at all.

    Raises
    ------
    BackupProblem
        There is no fitting pg_restore, or it failed; the message says what to run.
    """
    async with store.reading() as connection:
        version = await connection.scalar(text("SHOW server_version_num"))
    database = make_url(url).database or ""
    options = [
        "--single-transaction",
        "--exit-on-error",
        *_LEAST,
        f"--dbname={database}",
        str(dump_file),
    ]
    program = await fitting_program("pg_restore", version, url, options, tools)
    await _run(program.path, options, url)


@dataclass(frozen=True, slots=True)
class Program:
    """A program of PostgreSQL, and what it says its version is."""

    path: Path
    says: str


async def fitting_program(
    name: str,
    server_version: str | None,
    url: str,
    options: Sequence[str],
    tools: Path | None,
) -> Program:
    """Find the program; one that is older than the server refuses to work."""
    major = int(server_version or 0) // 10_000
    for path in _candidates(name, tools):
        says = (await _output(path, ["--version"], {})).strip()
        found = re.search(r"(\d+)(?:\.\d+)?", says)
        if found and int(found[1]) >= major:
            return Program(path, says)
    where = " ".join(f"{key}={shlex.quote(value)}" for key, value in _told(url).items())
    raise BackupProblem(
        f"no {name} of PostgreSQL {major} or newer was found here; install the client "
        "programs of that version, name their folder with --tools, or run where they "
        f"are: {where} {name} {shlex.join(options)}"
    )


def _candidates(name: str, tools: Path | None) -> list[Path]:
    if tools is not None:
        return [tools / name] if (tools / name).is_file() else []
    found = shutil.which(name)
    versions = sorted(
        DEBIAN_TOOLS.glob(f"*/bin/{name}"),
        key=lambda path: int(re.sub(r"\D", "", path.parts[-3]) or 0),
        reverse=True,
    )
    return ([Path(found)] if found else []) + versions


async def _run(path: Path, options: Sequence[str], url: str) -> None:
    await _output(path, options, _environment(url))


async def _output(
    path: Path, options: Sequence[str], environment: dict[str, str]
) -> str:
    # The password goes by the environment: other users may read a command line.
    process = await asyncio.create_subprocess_exec(
        path, *options, stdout=PIPE, stderr=PIPE, env=os.environ | environment
    )
    try:
        out, err = await process.communicate()
    except asyncio.CancelledError:
        process.kill()
        await process.wait()
        raise
    if process.returncode:
        lines = err.decode(errors="replace").strip().splitlines()
        raise BackupProblem(f"{path.name} failed: {'; '.join(lines[-4:])}")
    return out.decode(errors="replace")


def _environment(url: str) -> dict[str, str]:
    parsed = make_url(url)
    secret = {"PGPASSWORD": str(parsed.password)} if parsed.password else {}
    return _told(url) | secret


def _told(url: str) -> dict[str, str]:
    """Return the address as PostgreSQL's programs take it, without the password."""
    parsed: URL = make_url(url)
    query = {name: str(value) for name, value in parsed.query.items()}
    told = {
        "PGHOST": query.get("host") or parsed.host,
        "PGPORT": query.get("port") or parsed.port,
        "PGUSER": query.get("user") or parsed.username,
        "PGDATABASE": parsed.database,
        "PGSSLMODE": query.get("sslmode") or query.get("ssl"),
    }
    return {name: str(value) for name, value in told.items() if value}
