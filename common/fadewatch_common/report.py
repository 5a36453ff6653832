"""The report on the wire: one definition for agent and collector.

Unknown is None, never 0 or -1. Capacities keep the unit that the operating system
gave them; nothing is converted. Unknown keys in JSON are ignored, so an older
collector understands a newer agent; ``schema`` changes only when a field changes
its meaning.
"""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Literal

from fadewatch_common.bounds import AtMost, Aware, Between, OneOf, Text

SCHEMA: Literal[1] = 1
MAX_REPORTS = 500
"""Reports in one request."""
MAX_BODY_BYTES = 4 * 1024 * 1024
"""Size of an unpacked request [bytes]."""

MAX_PACKS = 8
MAX_DRIVES = 32
MAX_MEMORY_SLOTS = 64
MAX_REMARKS = 64

Unit = Literal["mWh", "mAh", "relative"]
PackState = Literal["charging", "discharging", "full", "held", "unknown"]
DriveKind = Literal["nvme", "ssd", "hdd", "emmc", "unknown"]

UNITS: tuple[Unit, ...] = ("mWh", "mAh", "relative")
PACK_STATES: tuple[PackState, ...] = (
    "charging",
    "discharging",
    "full",
    "held",
    "unknown",
)
DRIVE_KINDS: tuple[DriveKind, ...] = ("nvme", "ssd", "hdd", "emmc", "unknown")

FIRST_YEAR, LAST_YEAR = 1970, 2199
"""Years in which a report may say that it was measured. Own choice."""

NAME_LENGTH = 128
"""Longest name, model or serial kept [characters]; ACPI strings have up to 63."""
REMARK_LENGTH = 300
FIRMWARE_RECORD = "in the firmware's record of the start"
"""Stands in a remark where that record disagrees with a pack's own gauge."""

Name = Annotated[str, Text(NAME_LENGTH)]
Capacity = Annotated[int, Between(0, 2**31 - 1)]
"""Capacity in the pack's own unit. ACPI 6.0 allows 0 to 0x7FFFFFFF."""
Percent = Annotated[int, Between(0, 100)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Agent:
    """The agent that measured."""

    version: Annotated[str, Text(32, min_length=1)]
    platform: Annotated[str, Text(64, min_length=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Laptop:
    """What the laptop says of itself."""

    hostname: Annotated[str, Text(253)] | None = None
    maker: Name | None = None
    model: Name | None = None
    serial: Name | None = None
    board_uuid: Annotated[str, Text(36)] | None = None
    chassis: Name | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """One pack in its slot, as read at one moment.

    Attributes
    ----------
    slot
        Where it sits, by the operating system's name.
    unit
        Unit of the three capacities: mWh, mAh, or "relative" when only their ratio
        means anything.
    made_on
        Date of manufacture, by the Smart Battery Data Specification or the system.
    state
        "held" is: on mains and not charging, as at a charge limit.
    """

    slot: Annotated[str, Text(64, min_length=1)]
    unit: Annotated[Unit, OneOf(UNITS)]
    state: Annotated[PackState, OneOf(PACK_STATES)] = "unknown"
    maker: Name | None = None
    model: Name | None = None
    serial: Name | None = None
    made_on: date | None = None
    chemistry: Annotated[str, Text(32)] | None = None
    design_capacity: Capacity | None = None
    full_charge_capacity: Capacity | None = None
    remaining_capacity: Capacity | None = None
    cycle_count: Annotated[int, Between(1, 2**31 - 1)] | None = None
    voltage_mv: Annotated[int, Between(0, 1_000_000)] | None = None
    design_voltage_mv: Annotated[int, Between(0, 1_000_000)] | None = None
    temperature_c: Annotated[float, Between(-60.0, 150.0)] | None = None
    charge_limit_percent: Percent | None = None
    error_margin_percent: Percent | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MemorySlot:
    """One memory socket, or one soldered group of chips; size 0 is an empty socket."""

    locator: Annotated[str, Text(64)]
    size_mib: Annotated[int, Between(0, 2**31 - 1)]
    kind: Annotated[str, Text(32)] | None = None
    speed_mts: Annotated[int, Between(1, 2**31 - 1)] | None = None
    maker: Name | None = None
    part: Name | None = None
    soldered: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Memory:
    """The laptop's memory; no slots when the system does not say."""

    total_mib: Annotated[int, Between(1, 2**31 - 1)]
    slots: Annotated[tuple[MemorySlot, ...], AtMost(MAX_MEMORY_SLOTS)] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """One built-in drive."""

    name: Annotated[str, Text(64, min_length=1)]
    size_bytes: Annotated[int, Between(0, 2**60)]
    kind: Annotated[DriveKind, OneOf(DRIVE_KINDS)] = "unknown"
    model: Name | None = None
    serial: Name | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One reading with its id, as sent.

    Attributes
    ----------
    report_id
        UUIDv7 (RFC 9562) in its text form.
    measured_at
        When it was read, by the laptop's clock; UTC.
    remarks
        What could not be read, and why.
    """

    report_id: Annotated[str, Text(36, min_length=36)]
    measured_at: Annotated[datetime, Aware(FIRST_YEAR, LAST_YEAR)]
    agent: Agent
    laptop: Laptop
    packs: Annotated[tuple[Pack, ...], AtMost(MAX_PACKS)] = ()
    mains_online: bool | None = None
    memory: Memory | None = None
    drives: Annotated[tuple[Drive, ...], AtMost(MAX_DRIVES)] = ()
    remarks: Annotated[
        tuple[Annotated[str, Text(REMARK_LENGTH)], ...], AtMost(MAX_REMARKS)
    ] = ()
    schema: Annotated[Literal[1], OneOf((SCHEMA,))] = SCHEMA
