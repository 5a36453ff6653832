"""Pack types, and batches of them, that fade unlike the others."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import MAXYEAR, MINYEAR, date, timedelta
from math import isnan
from typing import Any, Literal

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, Mask
from fadewatch_collector.analysis.compared import (
    LEAST_PACKS,
    YEAR,
    Axis,
    FadesCompared,
    LivesCompared,
    Watched,
    compare_fades,
    compare_lives,
    watches,
)
from fadewatch_collector.analysis.multiple import holm
from fadewatch_collector.errors import InvalidRequest

Verdict = Literal["fast", "slow", "like others", "too few"]
Certainty = Literal["very sure", "sure", "likely", "not shown"]

UNLIKELY = 0.05
"""Chance of a false word about any group of the fleet; common practice."""
CERTAINTIES: tuple[tuple[float, Certainty, int], ...] = (
    (0.001, "very sure", 1000),
    (0.01, "sure", 100),
    (UNLIKELY, "likely", 20),
)
"""Chance below which a difference is so sure, and of how many fleets it is one."""
LEAST_RATIO = 1.2
"""Least factor on fade, or on the packs that have passed, that is worth a word. Own
choice: a smaller one does not change what is ordered, however sure it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedGroup:
    """A pack type, or the packs of it made in one quarter, held against others.

    Attributes
    ----------
    key, name
        Of the type.
    made
        Quarter in which a batch was made, such as ``2024-Q3``; None: the whole type.
    packs
        Packs of it, whatever is known of them.
    threshold
        Wear at which lives are compared, a fraction.
    lives_axis
        What ages are counted from; the pack's own day of making where it is told.
    passed, expected
        Packs of it that have passed the threshold while watched, and how many would have
        were it like the others.
    since_years
        Age from which the medians and ``gone`` count: fewer packs were watched before.
    median_years, other_median_years
        Age by which half have passed; None: not seen yet.
    at_years, gone, other_gone
        An age that enough packs of both have reached, and the parts passed by then.
    fade_per_month, other_fade_per_month
        Median fade that the packs' own histories show, fractions.
    fade_ratio
        Fade over that of others of the same age, with 95 % limits.
    same_age
        False: there were no others of their age, so all ages were taken.
    lives_p, fade_p
        Chance of so large a difference were all alike, allowing for all comparisons made.
    """

    key: str
    name: str
    made: str | None
    packs: int
    threshold: float
    verdict: Verdict
    certainty: Certainty
    comparisons: int
    lives_axis: Axis | None = None
    lives_packs: int = 0
    passed: int = 0
    expected: float | None = None
    other_lives_packs: int = 0
    other_passed: int = 0
    since_years: float | None = None
    median_years: float | None = None
    median_low_years: float | None = None
    median_high_years: float | None = None
    other_median_years: float | None = None
    at_years: float | None = None
    gone: float | None = None
    other_gone: float | None = None
    lives_p: float | None = None
    fade_packs: int = 0
    other_fade_packs: int = 0
    fade_per_month: float | None = None
    other_fade_per_month: float | None = None
    fade_ratio: float | None = None
    fade_ratio_low: float | None = None
    fade_ratio_high: float | None = None
    same_age: bool | None = None
    fade_p: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Return plain values ready for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Group:
    """Packs to be compared with others.

    Attributes
    ----------
    kind
        Number of the type.
    quarter
        Quarter of making, counted from year 0; None: the whole type.
    """

    kind: int
    quarter: int | None
    mine: Mask
    others: Mask


@dataclass(frozen=True, slots=True)
class _Found:
    """What was found of a group; not the group, whose masks are as long as the fleet."""

    kind: int
    quarter: int | None
    packs: int
    lives: LivesCompared | None
    fades: FadesCompared | None


def compare_types(
    packs: Watched,
    kinds: CountArray,
    names: Sequence[tuple[str, str]],
    threshold: float,
) -> list[ComparedGroup]:
    """Hold each type against all other packs, and each batch against its own type.

    Parameters
    ----------
    kinds
        Number of each pack's type.
    names
        Key and name of each type, by number.
    threshold
        The wear that ``packs.passed`` is about.

    Returns
    -------
    list[ComparedGroup]
        The fast ones first, the surest first among them; then whole types by name.
    """
    watched = watches(packs)
    found = [
        _Found(
            group.kind,
            group.quarter,
            int(group.mine.sum()),
            compare_lives(watched, group.mine, group.others),
            compare_fades(packs, group.mine, _near_in_age(packs, group)),
        )
        for group in groups(packs, kinds, len(names))
    ]
    p_values = [
        side.p_value for one in found for side in (one.lives, one.fades) if side
    ]
    adjusted = iter(holm(p_values))
    made = [
        _compared(
            one,
            names[one.kind],
            threshold,
            len(p_values),
            (
                next(adjusted) if one.lives else None,
                next(adjusted) if one.fades else None,
            ),
        )
        for one in found
    ]
    return sorted(made, key=_rank)


def groups(packs: Watched, kinds: CountArray, count: int) -> Iterator[Group]:
    """Yield each type, and each quarter of making of types made in several."""
    quarters = _quarters(packs)
    for kind in range(count):
        same = kinds == kind
        if not same.any():
            continue
        yield Group(kind, None, same, ~same)
        dated = same & (quarters >= 0)
        for quarter in np.unique(quarters[dated]).tolist():
            mine = dated & (quarters == quarter)
            if LEAST_PACKS <= mine.sum() < dated.sum():
                yield Group(kind, quarter, mine, dated & ~mine)


def quarter_words(quarter: int) -> str:
    """Write a quarter of making as 2024-Q3."""
    return f"{quarter // 4}-Q{quarter % 4 + 1}"


def quarter_days(words: str) -> tuple[date, date]:
    """Return the first and last day of a quarter written as 2024-Q3.

    Raises
    ------
    InvalidRequest
        It is no quarter.
    """
    found = re.fullmatch(r"([0-9]{4})-Q([1-4])", words, re.ASCII)
    if found is None or not MINYEAR <= int(found[1]) < MAXYEAR:
        raise InvalidRequest("a quarter is written as 2024-Q3")
    year, month = int(found[1]), 3 * int(found[2])
    after = date(year + month // 12, month % 12 + 1, 1)
    return date(year, month - 2, 1), after - timedelta(days=1)


def _quarters(packs: Watched) -> CountArray:
    """Return the quarter in which each pack was made, counted from year 0; -1 unknown."""
    known = np.isfinite(packs.made) & (packs.made <= packs.first_seen)
    days = np.where(known, packs.made, 0).astype("datetime64[D]")
    months = days.astype("datetime64[M]").astype(np.int64) + 1970 * 12
    return np.where(known, months // 3, -1)


def _near_in_age(packs: Watched, group: Group) -> Mask:
    """Return the others to compare fades with: of a batch, those made within a year."""
    if group.quarter is None:
        return group.others
    away = np.abs(packs.made - np.median(packs.made[group.mine]))
    return group.others & (away <= YEAR)


def _compared(
    found: _Found,
    name: tuple[str, str],
    threshold: float,
    comparisons: int,
    p_values: tuple[float | None, float | None],
) -> ComparedGroup:
    lives, fades = found.lives, found.fades
    verdict, p = _verdict(lives, fades, p_values)
    return ComparedGroup(
        key=name[0],
        name=name[1],
        made=None if found.quarter is None else quarter_words(found.quarter),
        packs=found.packs,
        threshold=threshold,
        verdict=verdict,
        certainty=_certainty(p) if verdict in {"fast", "slow"} else "not shown",
        comparisons=comparisons,
        **(_lives_part(lives) | {"lives_p": p_values[0]} if lives else {}),
        **(_fades_part(fades) | {"fade_p": p_values[1]} if fades else {}),
    )


def _certainty(p: float) -> Certainty:
    words = (word for limit, word, _ in CERTAINTIES if p < limit)
    return next(words, "not shown")


def _verdict(
    lives: LivesCompared | None,
    fades: FadesCompared | None,
    p_values: tuple[float | None, float | None],
) -> tuple[Verdict, float]:
    """Return the verdict of the surer side that shows a difference worth a word."""
    ratios = (
        lives.passed / max(lives.expected, 1e-9) if lives else 1.0,
        fades.ratio if fades else 1.0,
    )
    sides = [
        (p, ratio) for p, ratio in zip(p_values, ratios, strict=True) if p is not None
    ]
    if not sides:
        return "too few", 1.0
    told = [(p, ratio) for p, ratio in sorted(sides) if p < UNLIKELY]
    for p, ratio in told:
        if ratio >= LEAST_RATIO:
            return "fast", p
        if ratio <= 1 / LEAST_RATIO:
            return "slow", p
    return "like others", 1.0


def _lives_part(lives: LivesCompared) -> dict[str, Any]:
    return {
        "lives_axis": lives.axis,
        "lives_packs": lives.packs,
        "passed": lives.passed,
        "expected": round(lives.expected, 2),
        "other_lives_packs": lives.other_packs,
        "other_passed": lives.other_passed,
        "since_years": _years(lives.since),
        "median_years": _years(lives.median.time),
        "median_low_years": _years(lives.median.low),
        "median_high_years": _years(lives.median.high),
        "other_median_years": _years(lives.other_median.time),
        "at_years": _years(lives.at) or None,
        "gone": lives.gone if lives.at else None,
        "other_gone": lives.other_gone if lives.at else None,
    }


def _fades_part(fades: FadesCompared) -> dict[str, Any]:
    return {
        "fade_packs": fades.packs,
        "other_fade_packs": fades.other_packs,
        "fade_per_month": fades.typical,
        "other_fade_per_month": fades.other_typical,
        "fade_ratio": fades.ratio,
        "fade_ratio_low": fades.low,
        "fade_ratio_high": fades.high,
        "same_age": fades.same_age,
    }


def _years(days: float) -> float | None:
    return None if isnan(days) else round(days / YEAR, 2)


def _rank(group: ComparedGroup) -> tuple[bool, float, str, str]:
    fast = group.verdict == "fast"
    p = min(group.lives_p or 1.0, group.fade_p or 1.0) if fast else 1.0
    return (not fast, p, group.name, group.made or "")
