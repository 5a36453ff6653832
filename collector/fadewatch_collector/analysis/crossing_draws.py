"""Crossings drawn from forecasts: on which day each pack comes to a threshold."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from functools import cache
from statistics import NormalDist

import numpy as np

from fadewatch_collector.analysis.arrays import (
    CodeArray,
    CountArray,
    FloatArray,
    Mask,
    SingleArray,
)

NORMAL_QUANTILE_90 = 1.2815515655446004
"""The 90 % point of the standard normal distribution."""
LEAST_DAYS = 0.5
"""Least time to a crossing that is told from none [d]; days are rounded to whole ones."""
UNLIKELY = 4.3
"""Crossings so many deviations away are taken for certain or never: 1 in 100,000."""


@dataclass(frozen=True, slots=True)
class Sharing:
    """How far the errors of forecasts go together.

    Parameters
    ----------
    fleet, pack_type
        Share of the variance of an error [fraction of 1] that all packs have in common,
        and that packs of one type have in common beside it. Own choice, above what eight
        simulated fleets gave (0.18 and 0.02, ``tests.benchmarks.shared_errors``): their
        types differ less than real ones may. 0 and 0 would make totals far too sure.
    """

    fleet: float = 0.20
    pack_type: float = 0.10


SHARING = Sharing()


@dataclass(frozen=True, slots=True, eq=False)
class Forecasts:
    """Crossings of many packs [d since 1970-01-01]; NaN: not within ten years.

    Parameters
    ----------
    earliest, on, latest
        The 10, 50 and 90 % points; all the same for a day that is known.
    since
        Day that the forecast was made from: that of the newest reading.
    """

    earliest: FloatArray
    on: FloatArray
    latest: FloatArray
    since: FloatArray

    def __len__(self) -> int:
        """Count the packs."""
        return self.on.size

    def only(self, which: Mask) -> "Forecasts":
        """Return the forecasts of some of the packs."""
        return Forecasts(*(getattr(self, each.name)[which] for each in fields(self)))


def chance_by(forecasts: Forecasts, days: Sequence[int]) -> FloatArray:
    """Return the chance that each pack has crossed by the end of each day.

    Sums of these are exact means: they need no draws.

    Parameters
    ----------
    days
        Days since 1970-01-01 [d].

    Returns
    -------
    FloatArray
        One row a pack, one column a day, as fractions.
    """
    return _normal_below(_place(forecasts, np.asarray(days, dtype=np.float64)))


def drawn_days(
    forecasts: Forecasts,
    pack_types: CountArray,
    *,
    seed: int,
    draws: int,
    sharing: Sharing = SHARING,
) -> Iterator[SingleArray]:
    """Yield, once a draw, the day on which each pack crosses; infinity is never.

    Parameters
    ----------
    pack_types
        Type of each pack, counted from 0: packs of one type share a part of their error.

    Notes
    -----
    The logarithm of the time to a crossing is normal on each side of the middle, with
    a spread of its own on each, so that it goes through all three points. With standard
    normal G for the fleet, F for each type and E for each pack, the pack's place is
    ``sqrt(fleet) G + sqrt(pack_type) F + sqrt(1 - fleet - pack_type) E`` (a one-factor
    model a type, as in Vasicek, The distribution of loan portfolio value, Risk, 2002).
    The values of G, and of each F, are spread evenly over the draws (a Latin hypercube;
    McKay, Beckman and Conover 1979, doi 10.1080/00401706.1979.10489755).
    """
    rng = np.random.default_rng(seed)
    own = _own_values(np.sqrt(max(1.0 - sharing.fleet - sharing.pack_type, 0.0)))
    start = forecasts.since.astype(np.float32)
    middle, early, late = (part.astype(np.float32) for part in _shape(forecasts))
    # place * spread of its side, without asking each place for its side.
    mean, half = (early + late) / 2, (late - early) / 2
    never = np.flatnonzero(np.isnan(forecasts.on))
    for common in _shared(rng, pack_types, draws, sharing):
        place = own.take(rng.integers(0, own.size, start.size, dtype=np.uint16))
        place += common.take(pack_types)
        side = np.abs(place)
        place *= mean
        side *= half
        place += side
        place += middle
        np.exp(place, out=place)
        place += start
        np.rint(place, out=place)
        place[never] = np.inf
        yield place


@cache
def _own_values(spread: float) -> SingleArray:
    """Return 65,536 equally likely values of a normal error: faster than drawing one."""
    return (spread * _evenly_normal(2**16)).astype(np.float32)


def settled(forecasts: Forecasts, first: int, last: int) -> CodeArray:
    """Say which packs need no draws for the days from ``first`` to ``last``.

    Returns
    -------
    CodeArray
        -1 has crossed by the first day, 1 does not by the last, both all but surely; 0
        is open.
    """
    place = _place(forecasts, np.array([first, last], dtype=np.float64))
    return np.where(
        place[:, 0] > UNLIKELY, -1, np.where(place[:, 1] < -UNLIKELY, 1, 0)
    ).astype(np.int8)


def _shared(
    rng: np.random.Generator, pack_types: CountArray, draws: int, sharing: Sharing
) -> Iterator[SingleArray]:
    """Yield, once a draw, the error that packs of each type share."""
    count = int(pack_types.max(initial=-1)) + 1
    even = _evenly_normal(draws)
    fleet = np.sqrt(sharing.fleet) * rng.permutation(even)
    each = np.empty((draws, count))
    for column in range(count):
        each[:, column] = rng.permutation(even)
    both = fleet[:, None] + np.sqrt(sharing.pack_type) * each
    yield from both.astype(np.float32)


def _evenly_normal(draws: int) -> FloatArray:
    normal = NormalDist()
    lower = [normal.inv_cdf((k + 0.5) / draws) for k in range((draws + 1) // 2)]
    return np.array(lower + [-value for value in lower[: draws // 2][::-1]])


def _shape(forecasts: Forecasts) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the middle logarithm of the time left, and its spread to each side."""
    early, middle, late = (
        np.log(np.maximum(np.nan_to_num(day - forecasts.since), LEAST_DAYS))
        for day in (forecasts.earliest, forecasts.on, forecasts.latest)
    )
    return (
        middle,
        np.maximum(middle - early, 0.0) / NORMAL_QUANTILE_90,
        np.maximum(late - middle, 0.0) / NORMAL_QUANTILE_90,
    )


def _place(forecasts: Forecasts, days: FloatArray) -> FloatArray:
    """Return where the end of each day lies, in deviations; -inf where never."""
    middle, early, late = _shape(forecasts)
    # A drawn day is rounded: whatever lies within half a day after its noon counts.
    left = days[None, :] + LEAST_DAYS - forecasts.since[:, None]
    beyond = np.log(np.maximum(left, 1e-9)) - middle[:, None]
    spread = np.where(beyond < 0, early[:, None], late[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        place = np.where(
            spread > 0, beyond / spread, np.where(beyond >= 0, np.inf, -np.inf)
        )
    place[(left <= 0) | np.isnan(forecasts.on)[:, None]] = -np.inf
    return place


def _normal_below(place: FloatArray) -> FloatArray:
    """Return the standard normal distribution, to within 1.5e-7.

    By formula 7.1.26 of Abramowitz and Stegun, Handbook of Mathematical Functions, 1964.
    """
    size = np.minimum(np.abs(place) / np.sqrt(2.0), 30.0)
    t = 1.0 / (1.0 + 0.3275911 * size)
    terms = (0.254829592, -0.284496736, 1.421413741, -1.453152027, 1.061405429)
    tail = sum(term * t ** (power + 1) for power, term in enumerate(terms))
    upper = 0.5 * tail * np.exp(-(size**2))
    below: FloatArray = np.where(place < 0, upper, 1.0 - upper)
    return below
