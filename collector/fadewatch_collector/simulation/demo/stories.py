"""The situations of the demo fleet: what happens to which laptop, day by day.

Every day is given as days before the end of the history, so that the demo always
looks as if it had been kept until today.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

DAYS = 730
"""Length of the history [day]: two years."""

Habit = Literal["daily", "now-and-then", "mains", "frozen", "noisy"]
SerialKind = Literal["firm", "zero", "missing"]


class Situation(StrEnum):
    """What a laptop of the demo fleet stands for."""

    SOUND = "sound"
    NEW = "new"
    SOON = "soon past the plan threshold"
    PAST_PLAN = "past the plan threshold"
    PAST_REPLACE = "past the replace threshold"
    FAST_TYPE = "pack of a type that fades fast"
    DROP = "sudden drop, confirmed"
    FRESH_DROP = "sudden drop, days ago"
    BIG_DROP = "big drop in a worn pack"
    KNEE = "fade bent downwards"
    SWAPPED = "pack replaced by the same type"
    WRONG_PACK = "pack replaced by another type"
    MOVED_PACK = "pack moved from another laptop"
    IDENTITY_CLASH = "two laptops with one serial"
    WEAK_IDENTITY = "pack without a serial"
    FROZEN = "gauge never learns"
    NOISY = "gauge jumps about"
    MAINS = "kept on mains at a charge limit"
    DIP = "dip that came back"
    FALSE_CLIFF = "false cliff"
    RELATIVE = "pack that reports percent only"
    TWO_PACKS = "two packs"
    NO_PACK = "no pack at all"
    SILENT = "silent for weeks"
    MEMORY_CHANGED = "memory taken out"
    DRIVE_CHANGED = "drive replaced"
    WRONG_CLOCK = "clock years wrong for a week"


@dataclass(frozen=True, slots=True, kw_only=True)
class PackStory:
    """What happens to one pack.

    Attributes
    ----------
    model
        Model of its pack type.
    wear
        True wear when it is first seen and at the end, drop left out [fraction].
    cycles
        Cycle count at these two moments.
    knee
        Days before the end, and factor on the pace.
    drop
        Days before the end, and size [fraction of design].
    cliff, dip
        Days before the end, length [day] and depth [fraction of design].
    bounded
        Its gauge steps in bounds.
    new
        It is new when first seen, and arrives with the charge that it may be
        shipped with.
    on_mains
        It sits on mains and is charged full, whatever its limit is said to be.
    limit
        Charge limit that its laptop reports [percent].
    warmer
        How much warmer it is than others [kelvin].
    """

    model: str
    wear: tuple[float, float]
    cycles: tuple[int, int]
    habit: Habit = "daily"
    knee: tuple[int, float] | None = None
    drop: tuple[int, float] | None = None
    cliff: tuple[int, int, float] | None = None
    dip: tuple[int, int, float] | None = None
    bounded: bool = False
    serial: SerialKind = "firm"
    percent_only: bool = False
    new: bool = False
    on_mains: bool = False
    limit: int | None = None
    warmer: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """One pack's time in a slot, both days before the end and included."""

    pack: int
    slot: str = "BAT0"
    first: int = DAYS
    last: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopStory:
    """What happens to one laptop.

    Attributes
    ----------
    since, silent_for
        First and last day with a report, as days before the end.
    use
        Share of working days with a report.
    changed_on
        Day on which memory or drive changed, days before the end.
    shares_serial
        Reports the same serial as every other laptop marked so.
    """

    situation: Situation
    model: str
    stays: tuple[Stay, ...]
    since: int = DAYS
    silent_for: int = 0
    use: float = 0.9
    changed_on: int | None = None
    shares_serial: bool = False


@dataclass(slots=True)
class Script:
    """Packs and laptops, numbered in the order in which they are written down."""

    packs: list[PackStory] = field(default_factory=list)
    laptops: list[LaptopStory] = field(default_factory=list)

    def pack(self, story: PackStory) -> int:
        """Add a pack and return its number."""
        self.packs.append(story)
        return len(self.packs) - 1

    def laptop(self, story: LaptopStory) -> None:
        """Add a laptop."""
        self.laptops.append(story)

    def plain(
        self,
        situation: Situation,
        model: str,
        story: PackStory,
        *,
        since: int = DAYS,
        use: float = 0.9,
        silent_for: int = 0,
    ) -> None:
        """Add a laptop that keeps its one pack."""
        stay = Stay(pack=self.pack(story), first=since)
        self.laptop(
            LaptopStory(
                situation=situation,
                model=model,
                stays=(stay,),
                since=since,
                use=use,
                silent_for=silent_for,
            )
        )
