"""Draw what packs will be needed, bought and paid for, by type, month and site."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import (
    CountArray,
    FloatArray,
    Mask,
    SingleArray,
)
from fadewatch_collector.analysis.crossing_draws import (
    SHARING,
    Forecasts,
    Sharing,
    drawn_days,
    settled,
)
from fadewatch_collector.analysis.draw_totals import draws_for


@dataclass(frozen=True, slots=True, eq=False)
class FleetNeeds:
    """Every pack in use: its type, its site, and when it will have to be replaced.

    Parameters
    ----------
    forecasts
        NaN: not within ten years, or it cannot be forecast.
    types, sites
        Of each pack, counted from 0. Every type has a pack.
    """

    forecasts: Forecasts
    types: CountArray
    sites: CountArray
    type_count: int
    site_count: int


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """What is known of each type beside its packs.

    Parameters
    ----------
    coming
        Packs that need not be bought: on hand and on order [count].
    lead_days
        From an order to packs in hand [d].
    price
        Of one pack [minor unit]; NaN unknown.
    """

    coming: CountArray
    lead_days: CountArray
    price: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What was drawn, one entry a draw along the first axis.

    Parameters
    ----------
    needed
        Packs of each type due by the end of each horizon [count].
    month_packs, month_cost
        Packs to be ordered in each month, and what they cost where a price is known.
    unpriced
        Packs to be ordered in these months whose price is not known [count].
    site_cost
        Cost by site and month.
    """

    needed: CountArray
    month_packs: CountArray
    month_cost: FloatArray
    unpriced: CountArray
    site_cost: FloatArray


def draw_order(
    fleet: FleetNeeds,
    terms: Terms,
    horizons: Sequence[int],
    month_ends: Sequence[int],
    *,
    seed: int,
    draws: int | None = None,
    sharing: Sharing = SHARING,
) -> Drawn:
    """Draw needs, and orders that go out a lead time before them.

    Parameters
    ----------
    horizons, month_ends
        Rising days since 1970-01-01 [d]; the first horizon is today.

    Notes
    -----
    In every draw the packs that come first take what is on hand and on order, whatever
    their site; within the span in which it runs out, the sites share it evenly.
    """
    if not fleet.type_count:
        return _nothing(fleet, len(horizons), len(month_ends))
    spans = _Spans(terms.lead_days, horizons, month_ends)
    standing = settled(fleet.forecasts, horizons[0], spans.last)
    pairs, pair = np.unique(
        fleet.types * fleet.site_count + fleet.sites, return_inverse=True
    )
    is_open = standing == 0
    some = fleet.forecasts.only(is_open)
    types = fleet.types[is_open]
    sure = np.bincount(pair[standing < 0], minlength=pairs.size)
    count = _Counter(spans, types, pair[is_open], pairs.size, sure)
    ledger = _Ledger(spans, terms, pairs, fleet)
    return ledger.total(
        count(days)
        for days in drawn_days(
            some, types, seed=seed, draws=draws or draws_for(len(some)), sharing=sharing
        )
    )


class _Spans:
    """Spans of days that horizons, and months moved by a type's lead time, cut out."""

    def __init__(
        self, lead_days: CountArray, horizons: Sequence[int], month_ends: Sequence[int]
    ) -> None:
        ends = [
            np.unique([*horizons, *(end + lead for end in month_ends)])
            for lead in lead_days
        ]
        self.first = horizons[0]
        self.last = max(int(end[-1]) for end in ends)
        self.width = len(horizons) + len(month_ends) + 1
        days = np.arange(self.first, self.last + 2)
        self.days = days.size
        at = [np.searchsorted(end, days) for end in ends]
        self.table = np.concatenate(at)
        moved = [np.add(month_ends, lead) for lead in lead_days]
        spans = np.arange(self.width)
        self.horizon = np.stack([np.searchsorted(end, horizons) for end in ends])
        self.month = np.stack(
            [np.searchsorted(*both) for both in zip(ends, moved, strict=True)]
        )
        self.month_of = np.stack([np.searchsorted(row, spans) for row in self.month])
        self.months = len(month_ends)


def _nothing(fleet: FleetNeeds, horizons: int, months: int) -> Drawn:
    """Return one draw of a fleet without packs."""
    none = np.zeros((1, months))
    return Drawn(
        np.zeros((1, 0, horizons), dtype=np.int64),
        none.astype(np.int64),
        none,
        np.zeros(1, dtype=np.int64),
        np.zeros((1, fleet.site_count, months)),
    )


class _Counter:
    """Counts the packs of each pair of type and site by span, in one draw."""

    def __init__(
        self,
        spans: _Spans,
        types: CountArray,
        pair: CountArray,
        pairs: int,
        sure: CountArray,
    ) -> None:
        self._spans = spans
        self._row = types * spans.days - spans.first
        self._base = pair * spans.width
        self._pairs = pairs
        self._sure = sure

    def __call__(self, days: SingleArray) -> CountArray:
        spans = self._spans
        place = np.clip(days, spans.first, spans.last + 1).astype(np.int64)
        place += self._row
        found = spans.table.take(place)
        found += self._base
        counts = np.bincount(found, minlength=self._pairs * spans.width)
        counts = counts.reshape(self._pairs, spans.width)
        counts[:, 0] += self._sure
        return counts


class _Ledger:
    """Turns the counts of each draw into needs, orders and cost."""

    def __init__(
        self, spans: _Spans, terms: Terms, pairs: CountArray, fleet: FleetNeeds
    ) -> None:
        self._spans = spans
        self._coming = terms.coming[:, None]
        self._has_price: Mask = ~np.isnan(terms.price)
        self._price = np.nan_to_num(terms.price)
        self._type = pairs // fleet.site_count
        self._starts = np.searchsorted(self._type, np.arange(fleet.type_count))
        self._months = spans.months
        self._sites = fleet.site_count
        site = (pairs % fleet.site_count)[:, None]
        month = spans.month_of[self._type]
        self._place = (site * (self._months + 1) + month).ravel()

    def total(self, counted: Iterator[CountArray]) -> Drawn:
        entries = [self._entry(counts) for counts in counted]
        return Drawn(*(np.stack(part) for part in zip(*entries, strict=True)))

    def _entry(self, counts: CountArray) -> tuple[CountArray | FloatArray, ...]:
        spans = self._spans
        by_type = np.add.reduceat(counts, self._starts, axis=0)
        total = np.cumsum(by_type, axis=1)
        needed = np.take_along_axis(total, spans.horizon, axis=1)
        bought = np.maximum(total - self._coming, 0)
        orders = np.diff(
            np.take_along_axis(bought, spans.month, axis=1), axis=1, prepend=0
        )
        cost = self._price @ orders
        unpriced = orders[~self._has_price].sum()
        # What part of the packs due in each span has to be bought, and its price.
        part = np.diff(bought, axis=1, prepend=0) / np.maximum(by_type, 1)
        part *= self._price[:, None]
        paid = np.bincount(
            self._place,
            (counts * part[self._type]).ravel(),
            minlength=self._sites * (self._months + 1),
        )
        site_cost = paid.reshape(self._sites, -1)[:, : self._months]
        return needed, orders.sum(axis=0), cost, unpriced, site_cost
