"""What happens to the laptops and packs of a fleet in care: the labelled truth.

Days are counted from the first day of the window.
"""

from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from fadewatch_collector.simulation.packtypes import PACK_TYPES, PackType
from fadewatch_common.report import Laptop


class Fit(StrEnum):
    """Why a pack sits where it does."""

    FIRST = "there from the start"
    NEW = "new, of the type that belongs there"
    SECOND_TYPE = "new, of the other type that this model comes with"
    USED = "used before elsewhere"
    OTHER_TYPE = "of a type that does not belong there"
    DEAD = "empty, and does not charge"
    MOVED = "from another laptop of the fleet"
    BACK = "back after another was tried"


RIGHT_FITS = frozenset({Fit.NEW, Fit.SECOND_TYPE})
WRONG_FITS = frozenset({Fit.OTHER_TYPE, Fit.DEAD})


class Quirk(StrEnum):
    """What is odd about a laptop's reports for some days."""

    NO_SERIAL = "serial cannot be read"
    EMPTY = "a bay is empty"
    UNREADABLE = "a slot cannot be read"
    OTHER_UNIT = "the driver tells the other unit"
    FLICKERING_UNIT = "the unit changes from start to start"
    PERCENT_ONLY = "the driver tells percent only"
    NO_CYCLES = "the cycle count cannot be read"
    SPOOLED = "no way to the collector"
    OFF = "switched off"
    FACTORY_CLOCK = "clock at its factory date"
    FUTURE_CLOCK = "clock years ahead"
    FAST_CLOCK = "clock hours ahead"
    SLOW_CLOCK = "clock days behind"


@dataclass(frozen=True, slots=True)
class Span:
    """Days on which a quirk holds, first and last included."""

    quirk: Quirk
    first: int
    last: int

    def holds(self, day: int) -> bool:
        """Say whether the quirk holds on a day."""
        return self.first <= day <= self.last


@dataclass(frozen=True, slots=True, kw_only=True)
class PackPlan:
    """One pack.

    Attributes
    ----------
    kind
        Position of its type in `PACK_TYPES`.
    born
        Day of its making; None is drawn from a fleet in use.
    counts, wraps
        It tells a cycle count; that count starts again at 256.
    """

    kind: int
    serial: str | None
    made_on: date | None
    born: int | None
    counts: bool
    wraps: bool
    is_firm: bool
    charges: bool = True

    @property
    def type(self) -> PackType:
        """Its pack type."""
        return PACK_TYPES[self.kind]


@dataclass(frozen=True, slots=True)
class Fitting:
    """One pack that is put into a slot; it stays until the next one."""

    pack: int
    slot: str
    day: int
    fit: Fit


@dataclass(slots=True, kw_only=True)
class LaptopPlan:
    """One laptop.

    Attributes
    ----------
    model
        Position of its model in the fleet's list.
    since, until
        First day with a report, and last.
    use
        Share of working days with a report.
    every
        It reaches the collector on every so many days; reports wait until then.
    """

    number: int
    model: int
    laptop: Laptop
    since: int
    until: int
    use: float
    every: int = 1
    fittings: list[Fitting] = field(default_factory=list)
    spans: list[Span] = field(default_factory=list)

    def has(self, quirk: Quirk, day: int) -> bool:
        """Say whether a quirk holds on a day."""
        return any(span.quirk is quirk and span.holds(day) for span in self.spans)

    def fitted(self, day: int) -> dict[str, Fitting]:
        """Return what sits in which slot on a day."""
        return {
            fitting.slot: fitting
            for fitting in sorted(self.fittings, key=lambda one: one.day)
            if fitting.day <= day
        }


@dataclass(frozen=True, slots=True)
class PlantedSwap:
    """One swap that reports show.

    Attributes
    ----------
    last_before, first_after
        Last day that shows the old pack, and first day that shows the new one.
    is_firm
        Both packs tell an identity of their own, and it could be read.
    is_wrong
        A person should be told that the pack is not right; None: either will do, as
        for a pack that was used so little that it shows nothing of it.
    """

    laptop: int
    slot: str
    old_pack: int
    new_pack: int
    last_before: int
    first_after: int
    fit: Fit
    is_firm: bool
    is_wrong: bool | None
