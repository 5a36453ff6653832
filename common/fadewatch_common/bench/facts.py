"""What a bench check knows: today's reading, and figures from before.

Everything is plain and goes over the wire as it stands: a collector answers with
:class:`BenchFigures`, and the agent keeps what it saw itself in the same shape.
Fractions are of design capacity.
"""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from fadewatch_common.fade import (
    PUBLISHED_FADE_PER_MONTH,
    PUBLISHED_FAST_PER_MONTH,
    PUBLISHED_SLOW_PER_MONTH,
)
from fadewatch_common.policy import DEFAULT_POLICY, Policy
from fadewatch_common.report import Drive, Memory, Pack

Lender = Literal["own pack type", "fleet", "published figures"]
"""Whose fade stands for a pack without a history of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TypicalFade:
    """What packs like this one lose [fraction of design a month].

    Attributes
    ----------
    slow_per_month, fast_per_month
        Four packs of five lie between them; for published figures their two ends.
    packs
        How many packs of one's own it was learnt from; None for published figures.
    """

    per_month: float
    slow_per_month: float
    fast_per_month: float
    lender: Lender
    packs: int | None = None

    @property
    def is_measured(self) -> bool:
        """Say whether it was measured on one's own packs."""
        return self.lender != "published figures"


PUBLISHED = TypicalFade(
    per_month=PUBLISHED_FADE_PER_MONTH,
    slow_per_month=PUBLISHED_SLOW_PER_MONTH,
    fast_per_month=PUBLISHED_FAST_PER_MONTH,
    lender="published figures",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeFade:
    """The typical fade of one pack type; without maker and model, of the fleet."""

    maker: str | None
    model: str | None
    fade: TypicalFade


@dataclass(frozen=True, slots=True, kw_only=True)
class PackHistory:
    """What a collector's newest assessment says of a pack.

    Attributes
    ----------
    wear
        Cleaned wear; None unknown.
    fade_source
        "own history" or a :data:`Lender`.
    plan_earliest, plan_on, plan_latest
        When wear passes the plan threshold: an 80 % interval; None: not within ten
        years, or unknown.
    charged_on
        Last day on which it was seen charging or full; None: not lately.
    """

    as_of: date
    readings: int
    wear: float | None
    gauge: str | None
    concern: str
    fade_per_month: float | None = None
    fade_source: str | None = None
    plan_earliest: date | None = None
    plan_on: date | None = None
    plan_latest: date | None = None
    replace_on: date | None = None
    reasons: tuple[str, ...] = ()
    charged_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenPack:
    """A pack as it was last seen in a slot."""

    pack: Pack
    seen_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotFigures:
    """What is known of a slot.

    Attributes
    ----------
    seen
        The pack seen there last.
    since
        First day that this pack was seen there.
    is_empty
        The pack was gone when the laptop was read last.
    before
        The pack that was there before it.
    """

    slot: str
    seen: SeenPack
    since: date
    is_empty: bool = False
    before: SeenPack | None = None
    history: PackHistory | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """An open alert of the laptop or of a pack in it."""

    kind: str
    urgency: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchFigures:
    """What stands behind a bench check beside today's reading."""

    as_of: date
    policy: Policy = DEFAULT_POLICY
    slots: tuple[SlotFigures, ...] = ()
    fades: tuple[TypeFade, ...] = ()
    matters: tuple[Matter, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchReading:
    """Today's reading, or the newest one that a collector has.

    Attributes
    ----------
    remarks
        What could not be read, and why.
    """

    read_on: date
    packs: tuple[Pack, ...]
    mains_online: bool | None
    memory: Memory | None
    drives: tuple[Drive, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PackFacts:
    """One pack with all that is known of it."""

    read: Pack
    fade: TypicalFade
    history: PackHistory | None
    last: SeenPack | None
    since: date | None
    before: SeenPack | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopFacts:
    """All that a verdict rests on.

    Attributes
    ----------
    gone
        Slots that held a pack and hold none now.
    is_new_pack
        Asked after a change: the pack should be a new one.
    """

    today: date
    reading: BenchReading
    packs: tuple[PackFacts, ...]
    gone: tuple[SlotFigures, ...]
    matters: tuple[Matter, ...]
    policy: Policy
    service_years: float
    is_new_pack: bool
