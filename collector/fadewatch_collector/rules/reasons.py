"""Reasons in sentences that a technician can repeat to the laptop's user."""

from datetime import date

from fadewatch_collector.analysis.figures import DAYS_PER_MONTH

EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]


def to_date(day: float) -> date:
    """Turn days since 1970-01-01 into a date."""
    return date.fromordinal(EPOCH_ORDINAL + int(day))


def in_words(day: float) -> str:
    """Write a day as 9 April 2026."""
    when = to_date(day)
    return f"{when.day} {MONTHS[when.month - 1]} {when.year}"


def percent(fraction: float) -> str:
    """Write a fraction as a percentage, whole where it is."""
    return f"{100 * fraction:.1f}".removesuffix(".0") + " %"


def monthly(rate: float) -> str:
    """Write a rate of fade [1/d] as a percentage a month."""
    return f"{100 * rate * DAYS_PER_MONTH:.2f} %"


def past_threshold(wear: float, threshold: float, name: str) -> str:
    """Say that wear is past a threshold."""
    return (
        f"Wear is {percent(wear)}, past the {name} threshold of {percent(threshold)}."
    )


def will_cross(
    threshold: float, name: str, on: float, earliest: float, latest: float
) -> str:
    """Say when wear is expected to cross a threshold."""
    return (
        f"Wear is expected to reach the {name} threshold of {percent(threshold)} about "
        f"{in_words(on)}, in four cases of five between {in_words(earliest)} and "
        f"{in_words(latest)}."
    )


def fades(rate: float, low: float, high: float, per_cycle: float | None) -> str:
    """Say how fast the pack fades."""
    cycles = f", or {percent(100 * per_cycle)} per 100 cycles" if per_cycle else ""
    return (
        f"It loses {monthly(rate)} of its design capacity a month{cycles} "
        f"(80 % interval {monthly(low)} to {monthly(high)} a month)."
    )


def borrowed(source: str) -> str:
    """Say whose fade stands in for a history too short to tell."""
    lender = {
        "own pack type": "other packs of its type",
        "fleet": "the fleet's other packs",
        "published figures": "published figures",
    }[source]
    return f"Its own history says little yet, so its fade rests mostly on {lender}."


def dropped(size: float, on: float) -> str:
    """Say that capacity fell and stayed down."""
    return (
        f"Capacity fell by {percent(size)} of design on {in_words(on)} and has stayed "
        "down since: inspect the pack."
    )


def may_have_dropped(size: float, on: float) -> str:
    """Say that capacity seems to have fallen."""
    return (
        f"Capacity seems to have fallen by {percent(size)} of design on {in_words(on)}; "
        "the next readings will show whether it stays down."
    )


def bent(on: float, before: float, after: float) -> str:
    """Say that fade has sped up."""
    return (
        f"Fade sped up about {in_words(on)}, from {monthly(max(before, 0.0))} to "
        f"{monthly(after)} of design a month."
    )


def sped_up_fast(on: float, after: float) -> str:
    """Ask for an inspection because fade sped up fast."""
    return (
        f"Fade has sped up sharply since about {in_words(on)} and now takes "
        f"{monthly(after)} of design a month: inspect the pack."
    )


def old_and_worn(years: float) -> str:
    """Ask for an inspection because a worn pack is old."""
    return f"A pack this worn and {years:.1f} years old should be inspected."


def hot_and_worn(temperature: float) -> str:
    """Ask for an inspection because a worn pack ran hot."""
    return f"A pack this worn that reached {temperature:.0f} °C should be inspected."


def collapsed(size: float, on: float) -> str:
    """Word the precaution after a large drop in a worn pack."""
    return (
        f"As a precaution stop using it: capacity fell by {percent(size)} of design on "
        f"{in_words(on)} when the pack was already past the plan threshold."
    )


def signs_reported(signs: tuple[str, ...]) -> str:
    """Word the precaution after physical signs."""
    return f"As a precaution stop using it: reported by a person: {', '.join(signs)}."


def stale(since: float) -> str:
    """Say that the gauge holds its value."""
    return (
        f"The gauge has shown the same value since {in_words(since)}; true wear may be "
        "higher."
    )


def frozen(since: float) -> str:
    """Say that the gauge never learnt."""
    return (
        f"The gauge has reported exactly the design capacity since {in_words(since)}: "
        "it does not measure this pack's wear."
    )


def noisy(noise: float) -> str:
    """Say that readings scatter."""
    return f"Readings scatter by {percent(noise)} of design from one day to the next."


def implausible() -> str:
    """Say that readings are impossible."""
    return "Many of the newest readings are impossible values and were left out."


def nothing_known() -> str:
    """Say that no reading can be used."""
    return "There is no usable reading of this pack."
