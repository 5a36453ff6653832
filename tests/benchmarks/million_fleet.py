"""A million enrolled laptops, made by the database itself, and what each one sends."""

import hashlib
import json
import sqlite3
import zlib
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from string import Template
from typing import Any

from sqlalchemy import text
from sqlalchemy.ext.asyncio import create_async_engine

from fadewatch_collector.usecases.rounds import ROUNDS, round_value
from fadewatch_common.encoding import format_moment, to_json, to_plain
from fadewatch_common.report import Drive, Memory, MemorySlot, Report
from fadewatch_common.report_id import make_report_id
from tests.reports import LAPTOP, PACK, START, make_report

MARK = "@NUMBER@"
"""Stands in texts where a laptop's number goes, of seven digits."""

_ID = make_report_id(0, 0)
_GZIP = 31
"""Window bits with which zlib writes the gzip format (RFC 1952)."""

_LAPTOP = replace(
    LAPTOP,
    hostname=f"tern-{MARK}.desks.example",
    serial=f"BM-{MARK}",
    board_uuid=f"6f1d3a52-8a3e-4f0a-9c11-00000{MARK}",
)
_PACK = replace(
    PACK,
    serial=f"7{MARK}",
    chemistry="Li-poly",
    voltage_mv=11_842,
    temperature_c=27.5,
    charge_limit_percent=80,
)
_MEMORY = Memory(
    total_mib=16_384,
    slots=tuple(
        MemorySlot(
            locator=f"Channel{socket % 2}-DIMM{socket // 2}",
            size_mib=8192 * (1 - socket // 2),
            kind="DDR4",
            speed_mts=3200,
            maker="Hollow Hill Memory",
            part=f"HH8G-3200-{socket}",
        )
        for socket in range(4)
    ),
)
_DRIVES = tuple(
    Drive(
        name=f"nvme{drive}n1",
        size_bytes=512_110_190_592,
        kind="nvme",
        model="Lowfield LF-512",
        serial=f"LF{MARK}{drive}",
    )
    for drive in range(2)
)
_REMARKS = tuple(
    f"BAT0: {what} could not be read: no such file or directory"
    for what in (
        "the date of making",
        "the temperature",
        "the largest error of the charge",
        "the current, which this reading does without",
        "the time until it is empty, which this reading does without",
        "the alarm that its driver sets, which this reading does without",
    )
)

_WORDS = {
    "sqlite": {
        "number": "substr('0000000' || i, -7)",
        "digest": "sha256",
        "numbers": (
            "(WITH RECURSIVE n(i) AS (SELECT :first UNION ALL SELECT i + 1 FROM n "
            "WHERE i < :last) SELECT i FROM n)"
        ),
        "moment": "",
        "structure": "",
        "text": "",
    },
    "postgresql": {
        "number": "lpad(i::text, 7, '0')",
        "digest": "sha256_of",
        "numbers": "generate_series(CAST(:first AS int), CAST(:last AS int)) AS n(i)",
        "moment": "::timestamptz",
        "structure": "::jsonb",
        "text": "::text",
    },
}
_TABLES = (
    """
    INSERT INTO laptops (
        id, hostname, maker, model, serial, board_uuid, chassis, site, enrolled_at,
        last_report_at, last_measured_at, agent_version, platform, mains_online,
        memory_total_mib, memory_slots_used, memory_slots_free, storage_total_bytes,
        memory, drives, remarks, inventory_measured_at
    ) SELECT
        i, replace((:hostname)$text, '$mark', $number), '$laptop_maker',
        '$laptop_model', replace((:serial)$text, '$mark', $number),
        replace((:board)$text, '$mark', $number), '$chassis',
        'Site ' || (i % 40), (:enrolled)$moment, (:seen)$moment, (:seen)$moment, '0.1.0',
        'linux', true, 16384, 2, 2, 1024220381184, (:memory)$structure,
        replace((:drives)$text, '$mark', $number)$structure, (:remarks)$structure,
        (:seen)$moment
    FROM $numbers
    """,
    """
    INSERT INTO agent_keys (id, laptop_id, digest, created_at)
    SELECT i, i, $digest($key || $number), (:enrolled)$moment FROM $numbers
    """,
    """
    INSERT INTO packs (
        id, identity, maker, model, serial, chemistry, unit, design_capacity,
        design_voltage_mv, first_seen_at, last_seen_at, full_charge_capacity,
        cycle_count, state
    ) SELECT
        i, '$pack_maker|${pack_model}|7' || $number || '|', '$pack_maker',
        '$pack_model', '7' || $number, 'Li-poly', 'mWh', $design_capacity,
        $design_voltage_mv, (:enrolled)$moment, (:seen)$moment, 54000, 61,
        'discharging'
    FROM $numbers
    """,
    """
    INSERT INTO slot_stays (id, laptop_id, slot, pack_id, from_at, last_seen_at)
    SELECT i, i, 'BAT0', i, (:enrolled)$moment, (:seen)$moment FROM $numbers
    """,
)
_POSTGRES_DIGEST = """
    CREATE FUNCTION sha256_of(text) RETURNS bytea LANGUAGE sql IMMUTABLE
    AS $$ SELECT sha256(convert_to($1, 'UTF8')) $$
"""
_COUNT_ON = """
    SELECT setval(pg_get_serial_sequence(name, 'id'), :last) FROM
    unnest(ARRAY['laptops', 'packs', 'slot_stays', 'agent_keys']) AS name
"""
_STEP = 100_000


def key_of(number: int) -> str:
    """Return the key of a laptop, counted from 1."""
    return f"fwk_{number:043}"


def report_text(number: int, report_id: str, at: datetime, full: int) -> str:
    """Return a report of a laptop in JSON, of about two kilobytes."""
    before, between, after = _TEMPLATE
    said = "".join((before, report_id, between, format_moment(at), after))
    return said.replace(MARK, f"{number:07}").replace("54150", str(full))


def request(number: int, report_id: str, at: datetime, full: int) -> bytes:
    """Return a whole request with one report, packed as agents do it."""
    body = f'{{"reports": [{report_text(number, report_id, at, full)}]}}'.encode()
    packer = zlib.compressobj(wbits=_GZIP)
    packed = packer.compress(body) + packer.flush()
    head = (
        "POST /api/v1/reports HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        "User-Agent: fadewatch-agent/0.1.0\r\n"
        "Accept: application/json, application/problem+json\r\n"
        f"Authorization: Bearer {key_of(number)}\r\n"
        "Content-Type: application/json\r\nContent-Encoding: gzip\r\n"
        f"Content-Length: {len(packed)}\r\n\r\n"
    )
    return head.encode() + packed


def _template() -> tuple[str, str, str]:
    report: Report = make_report(
        START,
        (_PACK,),
        report_id=_ID,
        laptop=_LAPTOP,
        mains_online=True,
        memory=_MEMORY,
        drives=_DRIVES,
        remarks=_REMARKS,
    )
    before, rest = to_json(report).split(_ID)
    between, after = rest.split(format_moment(START))
    return before, between, after


_TEMPLATE = _template()


def statements(engine: str, first: int, last: int) -> list[tuple[str, dict[str, Any]]]:
    """Return what makes some laptops with a key, a pack and its place each."""
    now = datetime.now(UTC)
    values: dict[str, Any] = {
        "first": first,
        "last": last,
        "seen": _moment(engine, now - timedelta(hours=6)),
        "enrolled": _moment(engine, now - timedelta(days=300)),
        "hostname": _LAPTOP.hostname,
        "serial": _LAPTOP.serial,
        "board": _LAPTOP.board_uuid,
        "memory": json.dumps(to_plain(_MEMORY)),
        "drives": json.dumps([to_plain(drive) for drive in _DRIVES]),
        "remarks": json.dumps(list(_REMARKS)),
    }
    words = _WORDS[engine] | {
        "key": f"'{key_of(0)[:-7]}'",
        "mark": MARK,
        "laptop_maker": LAPTOP.maker,
        "laptop_model": LAPTOP.model,
        "chassis": LAPTOP.chassis,
        "pack_maker": PACK.maker,
        "pack_model": PACK.model,
        "design_capacity": PACK.design_capacity,
        "design_voltage_mv": PACK.design_voltage_mv,
    }
    made = [Template(table).substitute(words) for table in _TABLES]
    return [
        (one, {name: told for name, told in values.items() if f":{name}" in one})
        for one in made
    ]


def _moment(engine: str, at: datetime) -> Any:
    return at.strftime("%Y-%m-%d %H:%M:%S.%f") if engine == "sqlite" else at


def _rounds_done() -> list[tuple[str, dict[str, Any]]]:
    """Let the nightly rounds have been done: it is nine in the morning."""
    now = datetime.now(UTC).isoformat()
    statement = "INSERT INTO store_values (name, value) VALUES (:name, :value)"
    return [(statement, {"name": round_value(w), "value": now}) for w in ROUNDS]


def seed_sqlite(file: Path, laptops: int) -> None:
    """Fill an upgraded SQLite file."""
    with closing(sqlite3.connect(file)) as store:
        store.create_function(
            "sha256",
            1,
            lambda said: hashlib.sha256(said.encode()).digest(),
            deterministic=True,
        )
        store.execute("PRAGMA synchronous=OFF")
        for first in range(1, laptops + 1, _STEP):
            last = min(first + _STEP - 1, laptops)
            for statement, values in statements("sqlite", first, last):
                store.execute(statement, values)
            store.commit()
        for statement, values in _rounds_done():
            store.execute(statement, values)
        store.commit()
        store.execute("ANALYZE")
        store.execute("PRAGMA wal_checkpoint(TRUNCATE)")


async def seed_postgres(address: str, laptops: int) -> None:
    """Fill an upgraded PostgreSQL database."""
    engine = create_async_engine(address.replace("postgresql", "postgresql+asyncpg", 1))
    async with engine.begin() as connection:
        await connection.execute(text(_POSTGRES_DIGEST))
    for first in range(1, laptops + 1, _STEP):
        last = min(first + _STEP - 1, laptops)
        async with engine.begin() as connection:
            for statement, values in statements("postgresql", first, last):
                await connection.execute(text(statement), values)
    async with engine.begin() as connection:
        for statement, values in _rounds_done():
            await connection.execute(text(statement), values)
        await connection.execute(text(_COUNT_ON), {"last": laptops})
        await connection.execute(text("ANALYZE"))
    await engine.dispose()
