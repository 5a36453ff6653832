"""The order list of five packs, worked out by hand, and ranges against exact laws."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from fadewatch_collector.analysis.crossing_draws import (
    Forecasts,
    Sharing,
    chance_by,
)
from fadewatch_collector.rules.order_draws import FleetNeeds
from fadewatch_collector.rules.order_list import (
    EPOCH,
    OrderInput,
    OrderList,
    Range,
    make_order_list,
    months_from,
)
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.rules.stock import StockFigures

TODAY = date(2026, 11, 25)
DAY = float((TODAY - EPOCH).days)
NEVER = float("nan")
BROOK = PackType("Tarnvale", "TV-B57", "mWh", 57_000, 11_400, "Li-ion")
HEATH = PackType("Tarnvale", "TV-H42", "mWh", 42_000, 11_400, "Li-ion")
STOCKED = StockFigures(on_hand=1, lead_time_days=20, price_minor=6_000, currency="EUR")
ALONE = Sharing(0.0, 0.0)


def exactly(*figures: int) -> tuple[Range, ...]:
    """Ranges of figures that are known."""
    return tuple(Range(one, one, one) for one in figures)


def five_packs(
    days: list[tuple[float, float, float]] | None = None,
    brook: StockFigures = STOCKED,
    heath: StockFigures = StockFigures(),  # noqa: B008  frozen
) -> OrderInput:
    """Three packs of one type and two of another, at two sites.

    Of the first type one is due now, one in 30 days, one in 100; of the second one is
    due in 89 days, and one cannot be forecast.
    """
    left = days or [(0,) * 3, (30,) * 3, (100,) * 3, (89,) * 3, (NEVER,) * 3]
    early, on, late = np.array(left, dtype=np.float64).T + DAY
    return OrderInput(
        fleet=FleetNeeds(
            Forecasts(early, on, late, np.full(5, DAY)),
            types=np.array([0, 0, 0, 1, 1]),
            sites=np.array([0, 0, 1, 1, 1]),
            type_count=2,
            site_count=2,
        ),
        types=[BROOK, HEATH],
        stock=[brook, heath],
        fitted=np.array([3, 2]),
        cannot_forecast=np.array([0, 1]),
        sites=["North", "South"],
    )


def made(given: OrderInput, draws: int = 50) -> OrderList:
    return make_order_list(given, TODAY, "EUR", draws=draws, sharing=ALONE)


def test_five_packs_with_known_days_give_the_figures_worked_out_by_hand() -> None:
    found = made(five_packs())
    brook, heath = found.lines

    assert brook.needed == exactly(1, 2, 2, 3, 3)
    # One is on hand.
    assert brook.to_buy == exactly(0, 1, 1, 2, 2)
    assert brook.cost == exactly(0, 6_000, 6_000, 12_000, 12_000)
    # The second pack is due on 25 December, an order takes 20 days.
    assert brook.missing_on == date(2026, 12, 25)
    assert brook.order_by == date(2026, 12, 5)

    assert heath.needed == heath.to_buy == exactly(0, 0, 1, 1, 1)
    assert heath.cost is None
    assert heath.missing_on == date(2027, 2, 22)
    assert heath.order_by is None
    assert heath.cannot_forecast == found.cannot_forecast == 1

    assert found.needed == exactly(1, 2, 3, 4, 4)
    assert found.to_buy == exactly(0, 1, 2, 3, 3)
    assert found.cost == exactly(0, 6_000, 6_000, 12_000, 12_000)


def test_the_budget_falls_into_the_month_of_the_order_and_to_the_site_of_the_pack() -> (
    None
):
    found = made(five_packs())
    by_month = {one.month: one for one in found.months}

    # Ordered on 5 December, on 13 February (5 March less 20 days), and on 22 February.
    packs = {month: one.packs.central for month, one in by_month.items()}
    assert {month: n for month, n in packs.items() if n} == {
        date(2026, 12, 1): 1,
        date(2027, 2, 1): 2,
    }
    assert by_month[date(2026, 12, 1)].cost == Range(6_000, 6_000, 6_000)
    assert by_month[date(2027, 2, 1)].cost == Range(6_000, 6_000, 6_000)
    assert found.year_cost == Range(12_000, 12_000, 12_000)
    assert found.unpriced == Range(1, 1, 1)
    north, south = found.sites
    assert (north.months[1].central, north.year.central) == (6_000, 6_000)
    assert (south.months[3].central, south.year.central) == (6_000, 6_000)


def test_an_order_that_is_late_already_is_to_go_out_before_today() -> None:
    slow = replace(STOCKED, lead_time_days=45)
    brook = made(five_packs(brook=slow)).lines[0]
    assert brook.order_by == date(2026, 11, 10)
    assert brook.order_by < TODAY
    # What had to be ordered before today is paid this month.
    assert made(five_packs(brook=slow)).months[0].packs.central == 1


def test_packs_on_order_need_not_be_bought_again_and_may_come_too_late() -> None:
    coming = replace(STOCKED, on_order=1, expected_on=date(2027, 1, 10))
    brook = made(five_packs(brook=coming)).lines[0]
    assert brook.to_buy == exactly(0, 0, 0, 1, 1)
    assert brook.missing_on == date(2027, 3, 5)
    # The second pack is due on 25 December.
    assert brook.late_delivery
    in_time = replace(coming, expected_on=date(2026, 12, 24))
    assert not made(five_packs(brook=in_time)).lines[0].late_delivery


def test_a_price_in_another_currency_is_none() -> None:
    foreign = replace(STOCKED, currency="CHF")
    found = made(five_packs(brook=foreign))
    assert found.lines[0].cost is None
    assert found.unpriced == Range(3, 3, 3)


def test_enough_on_hand_leaves_nothing_to_order() -> None:
    brook = made(five_packs(brook=replace(STOCKED, on_hand=3))).lines[0]
    assert brook.to_buy == exactly(0, 0, 0, 0, 0)
    assert brook.missing_on is None
    assert brook.order_by is None


def test_the_order_day_counts_from_the_earliest_ends() -> None:
    days = [(40, 80, 160), (60, 120, 240), (25, 70, 200), (80, 90, 100), (NEVER,) * 3]
    brook = made(five_packs([*days])).lines[0]
    # Earliest ends after 25, 40 and 60 days; one is on hand, so the second counts.
    assert brook.missing_on == date(2027, 1, 4)
    assert brook.order_by == date(2026, 12, 15)


def test_ranges_of_five_packs_are_the_exact_quantiles() -> None:
    days = [(20, 70, 240), (40, 95, 200), (60, 150, 400), (30, 65, 300), (50, 80, 120)]
    given = five_packs([*days], brook=StockFigures())
    found = made(given, draws=20_000)
    chances = chance_by(given.fleet.forecasts, [int(DAY) + 90])[:, 0]
    for line, kind in zip(found.lines, (0, 1), strict=True):
        law = _law(chances[given.fleet.types == kind])
        assert line.needed[2] == _quantiles(law)
    assert found.needed[2] == _quantiles(_law(chances))


def _law(chances: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[float]:
    """Return the chance of each count, exactly (the Poisson-binomial law)."""
    law = np.ones(1)
    for chance in chances:
        law = np.convolve(law, [1 - chance, chance])
    return list(law)


def _quantiles(law: list[float]) -> Range:
    below = np.cumsum(law)
    # No sum lies so near an end that 20,000 draws could fall on its other side.
    for end in (0.1, 0.5, 0.9):
        assert np.min(np.abs(below - end)) > 4 * 0.5 / np.sqrt(20_000)
    low, central, high = (int(np.argmax(below >= end)) for end in (0.1, 0.5, 0.9))
    return Range(low, central, high)


def test_one_day_has_one_list() -> None:
    days = [(20, 70, 240), (40, 95, 200), (60, 150, 400), (30, 65, 300), (50, 80, 120)]
    given = five_packs([*days])
    assert made(given) == made(given)


def test_the_year_of_the_budget_begins_with_this_month() -> None:
    months = months_from(date(2026, 12, 31))
    assert (months[0], months[-1], len(months)) == (
        date(2026, 12, 1),
        date(2027, 11, 1),
        12,
    )


def test_an_empty_fleet_has_an_empty_list() -> None:
    none = np.empty(0, dtype=np.int64)
    given = OrderInput(
        FleetNeeds(Forecasts(*(np.empty(0) for _ in range(4))), none, none, 0, 0),
        [],
        [],
        none,
        none,
        [],
    )
    found = made(given)
    assert found.lines == ()
    assert found.year_packs == Range(0, 0, 0)
    assert pytest.approx(0) == found.fitted
