"""What filing reports works on: laptops and packs as they are known, and what came."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from fadewatch_collector.rules.identity import PackFigures
from fadewatch_common.report import Pack

PACK_FACTS = (
    "maker",
    "model",
    "serial",
    "made_on",
    "chemistry",
    "design_capacity",
    "design_voltage_mv",
)
PACK_FIGURES = (
    "unit",
    "full_charge_capacity",
    "remaining_capacity",
    "state",
    "voltage_mv",
    "temperature_c",
    "charge_limit_percent",
)

Place = tuple[int, str]
"""A laptop's id and the name of a slot in it."""


@dataclass(slots=True, kw_only=True)
class PackRecord:
    """A pack as the store keeps it; id below 0 until it is stored."""

    id: int
    identity: str | None
    first_seen_at: datetime
    last_seen_at: datetime
    unit: str
    maker: str | None = None
    model: str | None = None
    serial: str | None = None
    made_on: date | None = None
    chemistry: str | None = None
    design_capacity: int | None = None
    design_voltage_mv: int | None = None
    full_charge_capacity: int | None = None
    remaining_capacity: int | None = None
    cycle_count: int | None = None
    state: str | None = None
    voltage_mv: int | None = None
    temperature_c: float | None = None
    charge_limit_percent: int | None = None

    def figures(self) -> PackFigures:
        """Return what decides about a swap when identities are weak."""
        return PackFigures(
            self.maker,
            self.model,
            self.unit,
            self.design_capacity,
            self.full_charge_capacity,
            self.cycle_count,
            self.design_voltage_mv,
        )

    def take(self, pack: Pack, at: datetime) -> None:
        """Take over what a reading says; a late one only fills gaps."""
        newest = at >= self.last_seen_at
        for name in PACK_FACTS:
            value = getattr(pack, name)
            if value is not None and (newest or getattr(self, name) is None):
                setattr(self, name, value)
        if newest:
            if pack.design_capacity is None and pack.unit != self.unit:
                # What was told in another unit says nothing beside these figures.
                self.design_capacity = None
            for name in PACK_FIGURES:
                setattr(self, name, getattr(pack, name))
            # A count that falls tells a swap, also when it was not told for a while.
            self.cycle_count = pack.cycle_count or self.cycle_count
        self.first_seen_at = min(self.first_seen_at, at)
        self.last_seen_at = max(self.last_seen_at, at)


@dataclass(slots=True, kw_only=True)
class LaptopRecord:
    """A laptop's last known inventory.

    Attributes
    ----------
    known
        What the store knows of it, by column.
    facts
        What its newest report says, by column.
    """

    id: int
    inventory_measured_at: datetime | None = None
    memory: Mapping[str, Any] | None = None
    drives: list[Mapping[str, Any]] | None = None
    known: Mapping[str, Any] = field(default_factory=dict)
    facts: dict[str, Any] = field(default_factory=dict)

    def says_new(self, name: str) -> bool:
        """Say whether its report says another thing than is known."""
        return name in self.facts and self.facts[name] != self.known.get(name)


@dataclass(frozen=True, slots=True)
class FiledReading:
    """One reading of one pack, with the report it came in."""

    pack_id: int
    laptop_id: int
    report_id: str
    measured_at: datetime
    pack: Pack
    mains_online: bool | None


@dataclass(frozen=True, slots=True)
class Swap:
    """One pack that took another's place in a slot."""

    place: Place
    at: datetime
    old_pack_id: int
    new_pack_id: int


@dataclass(frozen=True, slots=True)
class Clash:
    """One identity that two places showed at the same time."""

    pack_id: int
    place: Place
    other: Place


@dataclass(frozen=True, slots=True)
class Move:
    """Readings that turned out to be another pack's, from a moment on."""

    place: Place
    since: datetime
    old_pack_id: int
    new_pack_id: int
