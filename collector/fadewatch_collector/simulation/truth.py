"""What really happened to a simulated pack, for judging what the analysis said."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Phenomenon(StrEnum):
    """What a simulated history contains; every one is known in real histories."""

    LEARNING_STEPS = "learning-steps"  # the gauge moves only when it learns
    LONG_STALE = "long-stale"  # kept on mains: months between two learnings
    LIMITED_STEPS = "limited-steps"  # a learning moves a bounded amount a day
    FROZEN = "frozen"  # full-charge capacity equals design for ever
    ABOVE_DESIGN = "above-design"  # a new pack holds more than its design
    FALSE_CLIFF = "false-cliff"  # 6-8 % down, back within days
    DIP = "dip"  # 3-7 % down for weeks, back after a relearn
    NONSENSE = "nonsense"  # one day's value means nothing
    REGENERATION = "regeneration"  # a rest brings capacity back for a while
    SILENCE = "silence"  # weeks without a reading
    OUT_OF_ORDER = "out-of-order"  # days arrive late, after later ones
    REPEATED = "repeated"  # the same day arrives twice
    WRONG_CLOCK = "wrong-clock"  # the laptop's date is years off
    DROP = "drop"  # a real loss within days, which stays
    KNEE = "knee"  # the pace of fade multiplies inside the window
    SWAP = "swap"  # another pack came under the same name
    WEAK_SERIAL = "weak-serial"  # the pack's name does not tell it apart


@dataclass(frozen=True, slots=True)
class Drop:
    """One real, lasting loss of capacity.

    Attributes
    ----------
    on
        Day on which capacity began to fall.
    percent
        Loss [% of design capacity].
    shown_on
        First day whose reading shows at least half of the loss; None when no
        reading did: the gauge had not learnt it, or nothing arrived before or after.
    """

    on: date
    percent: float
    shown_on: date | None


@dataclass(frozen=True, slots=True)
class PackTruth:
    """The truth about one history.

    Attributes
    ----------
    drops
        Real drops inside the window, in time order.
    knee_on
        Day on which the pace of fade multiplies; it may lie before the window,
        inside it, or up to ten years after its end. None: no knee.
    knee_factor
        What the pace is multiplied by at the knee; 1.0 without a knee.
    swaps
        Days from which another pack reports under the same pack id.
    crossings
        First day on which true wear reaches 0.20, 0.30 and 0.40, for the pack
        that is in place at the end of the window. A day before the window is
        possible; None: not before ten years after its end.
    """

    pack_id: str
    phenomena: frozenset[Phenomenon]
    drops: tuple[Drop, ...]
    knee_on: date | None
    knee_factor: float
    swaps: tuple[date, ...]
    crossings: tuple[date | None, date | None, date | None]
