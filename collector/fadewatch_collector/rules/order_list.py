"""The order list: packs to buy by type and horizon, when to order, and what it costs."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, FloatArray
from fadewatch_collector.analysis.crossing_draws import SHARING, Sharing
from fadewatch_collector.analysis.draw_totals import totals
from fadewatch_collector.rules.order_draws import (
    Drawn,
    FleetNeeds,
    Terms,
    draw_order,
)
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.rules.stock import StockFigures

HORIZONS = (0, 30, 90, 180, 365)
"""Days ahead that needs are told for; 0 is now [d]."""
MONTHS = 12
"""Months that the budget is told for, this one first [count]."""
EPOCH = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Range:
    """A central figure (the median) in its 80 % range."""

    low: int
    central: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """What there is to know of one pack type.

    Parameters
    ----------
    fitted
        Packs of the type in use [count].
    cannot_forecast
        Of them, packs that the analysis knows no wear of [count].
    needed, to_buy, cost
        By horizon; to buy is what stock and orders do not cover; the cost is in minor
        units, None without a price.
    missing_on
        Day on which a pack is missing if every forecast comes at its earliest; None:
        not within the last horizon.
    order_by
        Day to order on, so that the pack is there by then; None: no need within the
        last horizon, or the lead time is not known.
    late_delivery
        The packs on order come after the day on which they are needed at the earliest.
    """

    type: PackType
    fitted: int
    cannot_forecast: int
    stock: StockFigures
    needed: tuple[Range, ...]
    to_buy: tuple[Range, ...]
    cost: tuple[Range, ...] | None
    missing_on: date | None
    order_by: date | None
    late_delivery: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthBudget:
    """What has to be ordered in one month; cost in minor units."""

    month: date
    packs: Range
    cost: Range


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteBudget:
    """What a site's packs cost, by the month they are ordered in [minor unit]."""

    site: str | None
    months: tuple[Range, ...]
    year: Range


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderList:
    """The whole order list as of a day.

    Parameters
    ----------
    needed, to_buy, cost
        Of all types together, by horizon: drawn together, so not the sum of the lines.
    year_packs, year_cost
        Of the budget's months together.
    unpriced
        Packs to order in the budget's months that have no price, so no cost [count].
    """

    today: date
    currency: str
    draws: int
    fitted: int
    cannot_forecast: int
    lines: tuple[OrderLine, ...]
    needed: tuple[Range, ...]
    to_buy: tuple[Range, ...]
    cost: tuple[Range, ...]
    months: tuple[MonthBudget, ...]
    sites: tuple[SiteBudget, ...]
    year_packs: Range
    year_cost: Range
    unpriced: Range


@dataclass(frozen=True, slots=True, eq=False)
class OrderInput:
    """What an order list is made from.

    Parameters
    ----------
    fitted, cannot_forecast
        By type [count].
    types, stock
        By place; ``sites`` likewise.
    """

    fleet: FleetNeeds
    types: Sequence[PackType]
    stock: Sequence[StockFigures]
    fitted: CountArray
    cannot_forecast: CountArray
    sites: Sequence[str | None]


def make_order_list(
    given: OrderInput,
    today: date,
    currency: str,
    *,
    draws: int | None = None,
    sharing: Sharing = SHARING,
) -> OrderList:
    """Make the order list; the day is its seed, so one day has one list."""
    day = (today - EPOCH).days
    months = months_from(today)
    terms = _terms(given.stock, currency)
    drawn = draw_order(
        given.fleet,
        terms,
        [day + ahead for ahead in HORIZONS],
        [(_next_month(month) - EPOCH).days - 1 for month in months],
        seed=today.toordinal(),
        draws=draws,
        sharing=sharing,
    )
    bought = np.maximum(drawn.needed - terms.coming[:, None], 0)
    return OrderList(
        today=today,
        currency=currency,
        draws=len(drawn.needed),
        fitted=int(given.fitted.sum()),
        cannot_forecast=int(given.cannot_forecast.sum()),
        lines=tuple(_lines(given, drawn.needed, bought, terms, day)),
        needed=_ranges(drawn.needed.sum(axis=1)),
        to_buy=_ranges(bought.sum(axis=1)),
        cost=_ranges(np.einsum("t,dth->dh", np.nan_to_num(terms.price), bought)),
        months=_month_budgets(months, drawn),
        sites=_site_budgets(given.sites, drawn),
        year_packs=_range(drawn.month_packs.sum(axis=1)),
        year_cost=_range(drawn.month_cost.sum(axis=1)),
        unpriced=_range(drawn.unpriced),
    )


def months_from(today: date) -> list[date]:
    """Return the first days of the budget's months, this month's first."""
    months = [today.replace(day=1)]
    while len(months) < MONTHS:
        months.append(_next_month(months[-1]))
    return months


def _next_month(month: date) -> date:
    return (month.replace(day=1) + timedelta(days=32)).replace(day=1)


def _terms(stock: Sequence[StockFigures], currency: str) -> Terms:
    return Terms(
        coming=np.array([one.coming for one in stock], dtype=np.int64),
        lead_days=np.array([one.lead_time_days or 0 for one in stock], dtype=np.int64),
        price=np.array([_price(one, currency) for one in stock], dtype=np.float64),
    )


def _price(stock: StockFigures, currency: str) -> float:
    """Return a price in the organisation's currency; NaN for none, or another's."""
    if stock.price_minor is None or stock.currency != currency:
        return float("nan")
    return float(stock.price_minor)


def _lines(
    given: OrderInput,
    needed: CountArray,
    bought: CountArray,
    terms: Terms,
    today: int,
) -> list[OrderLine]:
    need, buy = totals(needed), totals(bought)
    lines = []
    for place, kind in enumerate(given.types):
        to_buy = _row(buy.low[place], buy.central[place], buy.high[place])
        price = terms.price[place]
        when = _When(_earliest(given.fleet, place, today), given.stock[place], today)
        lines.append(
            OrderLine(
                type=kind,
                fitted=int(given.fitted[place]),
                cannot_forecast=int(given.cannot_forecast[place]),
                stock=given.stock[place],
                needed=_row(need.low[place], need.central[place], need.high[place]),
                to_buy=to_buy,
                cost=None if np.isnan(price) else _times(to_buy, int(price)),
                missing_on=when.missing_on,
                order_by=when.order_by,
                late_delivery=when.late_delivery,
            )
        )
    return lines


def _earliest(fleet: FleetNeeds, place: int, today: int) -> FloatArray:
    days = fleet.forecasts.earliest[fleet.types == place]
    return np.sort(np.maximum(days[~np.isnan(days)], today))


class _When:
    """When packs of a type run out, if every forecast comes at its earliest."""

    def __init__(self, earliest: FloatArray, stock: StockFigures, today: int) -> None:
        self._earliest = earliest
        self._last = today + HORIZONS[-1]
        self.missing_on = self._need_after(stock.coming)
        self.order_by: date | None = None
        if self.missing_on is not None and stock.lead_time_days is not None:
            self.order_by = self.missing_on - timedelta(days=stock.lead_time_days)
        first = self._need_after(stock.on_hand or 0)
        self.late_delivery = (
            stock.expected_on is not None
            and first is not None
            and first < stock.expected_on
        )

    def _need_after(self, covered: int) -> date | None:
        if len(self._earliest) <= covered or self._earliest[covered] > self._last:
            return None
        return EPOCH + timedelta(days=int(self._earliest[covered]))


def _times(ranges: Sequence[Range], price: int) -> tuple[Range, ...]:
    return tuple(
        Range(one.low * price, one.central * price, one.high * price) for one in ranges
    )


def _row(*ends: FloatArray) -> tuple[Range, ...]:
    return tuple(
        Range(*(round(float(figure)) for figure in three))
        for three in zip(*ends, strict=True)
    )


def _ranges(drawn: CountArray | FloatArray) -> tuple[Range, ...]:
    found = totals(drawn)
    return _row(found.low, found.central, found.high)


def _range(drawn: CountArray | FloatArray) -> Range:
    return _ranges(drawn[:, None])[0]


def _month_budgets(months: Sequence[date], drawn: Drawn) -> tuple[MonthBudget, ...]:
    packs, cost = _ranges(drawn.month_packs), _ranges(drawn.month_cost)
    return tuple(
        MonthBudget(month=month, packs=packs[place], cost=cost[place])
        for place, month in enumerate(months)
    )


def _site_budgets(sites: Sequence[str | None], drawn: Drawn) -> tuple[SiteBudget, ...]:
    by_month = totals(drawn.site_cost)
    year = _ranges(drawn.site_cost.sum(axis=2))
    return tuple(
        SiteBudget(
            site=site,
            months=_row(
                by_month.low[place], by_month.central[place], by_month.high[place]
            ),
            year=year[place],
        )
        for place, site in enumerate(sites)
    )
