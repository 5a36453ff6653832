"""The laptops, keys and reports of the ingest benchmark; the same in every process."""

import base64
import hashlib
from dataclasses import dataclass, replace

from fadewatch_common.encoding import format_moment, to_json
from fadewatch_common.report import Agent, Drive, Laptop, Memory, MemorySlot, Report
from fadewatch_common.report_id import make_report_id
from tests.reports import LAPTOP, PACK, START

LAPTOPS = 10_000
"""Laptops that report: each has a burst of 60 requests before its limit."""

PATH = "/api/v1/reports"
_ID = make_report_id(0, 0)
_AT = format_moment(START)


def key_of(number: int) -> str:
    """Return the key of a laptop, counted from 1."""
    secret = hashlib.sha256(f"ingest {number}".encode()).digest()
    return "fwk_" + base64.urlsafe_b64encode(secret).decode().rstrip("=")


def report_of(number: int) -> Report:
    """Return a report of a laptop with two packs, two drives and four sockets: 2 kB."""
    packs = tuple(
        replace(
            PACK,
            slot=f"BAT{slot}",
            serial=f"{number:05}-{slot}",
            chemistry="Li-poly",
            voltage_mv=11_842,
            temperature_c=27.5,
            charge_limit_percent=80,
        )
        for slot in range(2)
    )
    sockets = tuple(
        MemorySlot(
            locator=f"Channel{socket % 2}-DIMM{socket // 2}",
            size_mib=8192 * (1 - socket // 2),
            kind="DDR4",
            speed_mts=3200,
            maker="Hollow Hill Memory",
            part=f"HH8G-3200-{socket}",
        )
        for socket in range(4)
    )
    drives = tuple(
        Drive(
            name=f"nvme{drive}n1",
            size_bytes=512_110_190_592,
            kind="nvme",
            model="Lowfield LF-512",
            serial=f"LF{number:08}{drive}",
        )
        for drive in range(2)
    )
    return Report(
        report_id=_ID,
        measured_at=START,
        agent=Agent(version="0.1.0", platform="linux"),
        laptop=laptop_of(number),
        packs=packs,
        mains_online=number % 3 == 0,
        memory=Memory(total_mib=16_384, slots=sockets),
        drives=drives,
        remarks=("BAT1: the date of making could not be read: no such file",),
    )


def laptop_of(number: int) -> Laptop:
    """Return what a laptop says of itself."""
    return replace(
        LAPTOP,
        hostname=f"tern-{number:05}.desks.example",
        serial=f"BM-{number:08}",
        board_uuid=f"6f1d3a52-8a3e-4f0a-9c11-{number:012x}",
    )


@dataclass(frozen=True, slots=True)
class Outgoing:
    """What one laptop sends, but for the report's id and moment."""

    before_id: bytes
    between: bytes
    after: bytes

    def request(self, report_id: str, moment: str) -> bytes:
        """Return a whole request with one report; the moment has the form of START's."""
        return b"".join(
            (
                self.before_id,
                report_id.encode(),
                self.between,
                moment.encode(),
                self.after,
            )
        )


def outgoing(number: int) -> Outgoing:
    """Prepare the requests of a laptop."""
    body = f'{{"reports": [{to_json(report_of(number))}]}}'
    head = (
        f"POST {PATH} HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        "User-Agent: fadewatch-agent/0.1.0\r\n"
        "Accept: application/json, application/problem+json\r\n"
        f"Authorization: Bearer {key_of(number)}\r\n"
        "Content-Type: application/json\r\n"
        f"Content-Length: {len(body.encode())}\r\n\r\n"
    )
    before_id, rest = (head + body).encode().split(_ID.encode())
    between, after = rest.split(_AT.encode())
    return Outgoing(before_id, between, after)
