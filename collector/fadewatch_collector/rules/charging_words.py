"""What is said of a pack's charging: figures, what to think about, and where from.

Nothing here sets a limit, and nothing claims what one would do for this pack: that was
not measured.
"""

from dataclasses import dataclass

from fadewatch_collector.rules.charging import (
    HOT_C,
    LEAST_DAYS,
    WARM_C,
    Advice,
    ChargingHabit,
    Habit,
    Limit,
    Share,
    Span,
)
from fadewatch_collector.rules.charging_day import NEAR_FULL

SUGGESTED_LIMIT = 80
"""Charge limit worth considering [percent]: cells of graphite and lithium cobalt oxide
swell little below 80 % charge and steeply above (Lee et al. 2003, as quoted in a later
review)."""

FASTER = 1.5
"""Fade that is this many times the typical one counts as faster. Own choice."""

HABIT_WORDS: dict[Habit, str] = {
    "near full": "Mostly near full on mains",
    "mixed": "Mixed",
    "seldom full": "Seldom near full on mains",
    "too few": "Too few readings to tell",
}

LIMIT_WORDS: dict[Limit, str] = {
    "set": "set",
    "not kept": "set, but charged past it",
    "held": "none reported, yet held below full",
    "unused": "not in use",
    "not reported": "not reported",
}

SOURCES: tuple[str, ...] = (
    (
        "In store for a year, cells kept 96 % of their capacity at 25 °C and 40 % charge, "
        "80 % when full; at 40 °C 85 % and 65 % (table in the handbook page How to prolong "
        "lithium-based batteries). A laptop in use is not in store."
    ),
    (
        "Loss at rest does not rise evenly with charge: it has plateaus that span more than "
        "20 to 30 % of capacity, linked to the graphite anode (Keil et al. 2016, J. "
        "Electrochem. Soc. 163 A1872, doi 10.1149/2.0411609jes). A limit may help one pack "
        "and do little for another."
    ),
    (
        "Pouch cells held at full voltage swelled at first, then hardly, then fast; the fast "
        "phase began sooner when warmer and at a higher voltage (University of Maryland "
        "CALCE, Batteries 2025, 11(11), 419)."
    ),
    (
        "Cells of graphite and lithium cobalt oxide swell little below 80 % charge and "
        "steeply above (Lee et al. 2003, as quoted in a later review)."
    ),
)
"""What is published; each as it was found, none of it measured on this fleet."""

TRADE_OFF = (
    f"With a limit of {SUGGESTED_LIMIT} % about a fifth of the running time away from "
    "mains is gone, and a gauge that never sees a full charge may learn less often, so "
    "the wear shown may go stale. What the holder needs comes first. Fadewatch never "
    "changes a setting on a laptop."
)

STOPPED = (
    "Stop using this laptop and do not charge it: its alert or assessment says so. No "
    "charge limit is suggested."
)

NOT_CLOCKED = (
    "A laptop is read a few times a day, and only while it is switched on: these are "
    "shares of readings, not hours."
)


@dataclass(frozen=True, slots=True)
class FadeBeside:
    """A pack's own fade and what is typical [fraction a month].

    Attributes
    ----------
    is_of_type
        Typical of its own pack type, else of the whole fleet.
    """

    own: float
    typical: float
    is_of_type: bool

    @property
    def is_faster(self) -> bool:
        """Say whether it fades faster than is typical."""
        return self.own >= FASTER * self.typical


def sentences(habit: ChargingHabit, fade: FadeBeside | None = None) -> tuple[str, ...]:
    """Say how a pack is charged, and what is worth thinking about.

    Parameters
    ----------
    fade
        None: its own fade, or a typical one, is not known.
    """
    if habit.is_stopped:
        return (STOPPED,)
    if habit.habit == "too few":
        return (_too_few(habit.longer),)
    candidates = (
        _near_full(habit.ruling),
        _warmth(habit),
        _advice(habit),
        _fade(fade) if habit.advice != "none" else None,
    )
    return tuple(sentence for sentence in candidates if sentence)


def in_short(habit: ChargingHabit, fade: FadeBeside | None = None) -> tuple[str, ...]:
    """Say in a few words what is worth doing, for a list."""
    if habit.is_stopped:
        return ("Stop using it, and do not charge it",)
    candidates = (
        _IN_SHORT.get((habit.advice, habit.limit)),
        "Hot: find out why, and look for signs of swelling" if habit.is_hot else None,
        _FASTER if fade and fade.is_faster and habit.advice != "none" else None,
    )
    return tuple(words for words in candidates if words)


_FASTER = "Fades faster than is typical"
_IN_SHORT: dict[tuple[Advice, Limit], str] = {
    ("consider", "unused"): f"Consider a limit of {SUGGESTED_LIMIT} %",
    ("consider", "not reported"): (
        f"See whether it has a limit, and consider {SUGGESTED_LIMIT} %"
    ),
    ("check", "not kept"): "See whether the setting still holds",
}


def trade_off(advice: Advice) -> str | None:
    """Return what a limit costs, where one is worth considering."""
    return None if advice == "none" else TRADE_OFF


def share_words(share: Share) -> str:
    """Write a share with its interval, in whole percent."""
    return (
        f"{_whole(share.estimate)} % (80 % interval {_whole(share.low)} to "
        f"{_whole(share.high)} %)"
    )


def _whole(fraction: float) -> str:
    return f"{100 * fraction:.0f}"


def _too_few(longer: Span) -> str:
    return (
        f"Readings of {_days(longer.days)} in the last {longer.length} tell of charge "
        f"and mains; a habit is told from {LEAST_DAYS} days on."
    )


def _near_full(span: Span) -> str:
    share = span.near_full_share
    interval = f" That is {share_words(share)}." if share else ""
    return (
        f"On mains at {_whole(NEAR_FULL)} % charge or more in {span.near_full} of "
        f"{_count(span.readings)} of the last {span.length} days.{interval}"
    )


def _warmth(habit: ChargingHabit) -> str | None:
    warmth = habit.ruling.near_full_temperature_c
    if warmth is None or habit.habit == "seldom full":
        return None
    said = f"The pack was at {warmth:.0f} °C then (median of the days)"
    if habit.is_hot:
        return (
            f"{said}, above the 0 to {HOT_C:.0f} °C in which to charge (NFPA, as passed "
            "on by the US Fire Administration): find out what keeps it hot, such as "
            "covered vents or a warm place, and look for signs of swelling."
        )
    if warmth > WARM_C and habit.advice != "none":
        return f"{said}; published losses of full cells grow with warmth."
    return f"{said}."


def _advice(habit: ChargingHabit) -> str | None:
    limit = habit.charge_limit_percent
    if habit.advice == "consider":
        return _consider(limit)
    if habit.limit == "not kept":
        past, of = habit.past_limit
        return (
            f"A charge limit of {limit} % is reported, yet on days with a limit the pack "
            f"was near full in {past} of {_count(of)}: see whether the setting still "
            "holds."
        )
    if habit.limit == "set":
        return _set(habit)
    if habit.limit == "held":
        span = habit.ruling
        return (
            f"On mains it was held below full in {span.held} of "
            f"{_count(span.on_mains)}: something limits its charge already, though "
            "no limit below full is reported."
        )
    return None


def _consider(limit: int | None) -> str:
    thought = (
        f"a limit of {SUGGESTED_LIMIT} % is worth considering, if its holder can do with "
        "less running time"
    )
    if limit is None:
        return (
            "No charge limit is reported. If the laptop's firmware or its maker's tool "
            f"has one, {thought}."
        )
    return f"The laptop has a charge limit, now at {limit} %: {thought}."


def _set(habit: ChargingHabit) -> str:
    said = f"A charge limit of {habit.charge_limit_percent} % is set"
    if habit.habit == "near full":
        return f"{said}; most of these readings are from before it."
    return f"{said}: nothing to change."


def _fade(fade: FadeBeside | None) -> str | None:
    if fade is None or not fade.is_faster:
        return None
    whose = "its pack type" if fade.is_of_type else "the fleet"
    return (
        f"The pack loses {100 * fade.own:.2f} % of design a month where "
        f"{100 * fade.typical:.2f} % is typical of {whose}. That does not show that "
        "charging is the cause."
    )


def _count(readings: int) -> str:
    return f"{readings} {'reading' if readings == 1 else 'readings'}"


def _days(days: int) -> str:
    return f"{days} {'day' if days == 1 else 'days'}"
