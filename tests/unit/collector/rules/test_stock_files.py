"""Stock as people write it, in forms and in files."""

from datetime import date

import pytest

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules import stock_csv
from fadewatch_collector.rules.money import decimals_of, minor_units
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.rules.stock import (
    MOST_MINOR,
    NOTHING_ENTERED,
    StockFigures,
    checked,
    stock_from_text,
)
from fadewatch_collector.rules.stock_csv import StockRow, plan_stock, read_stock

TARN = PackType("Tarn Cells", "TC-57", "mWh", 57_000, 11_400, "Li-poly")
CALLOW = PackType("Callow", "C-1", "mWh", 48_000, 7_600, None)


# Minor units by the published list of ISO 4217 (amendment 176): 0, 2 and 3 decimals.
@pytest.mark.parametrize(
    ("currency", "decimals", "minor"),
    [("JPY", 0, 15), ("EUR", 2, 1500), ("KWD", 3, 15000)],
)
def test_a_currency_has_the_decimals_of_its_standard(
    currency: str, decimals: int, minor: int
) -> None:
    assert decimals_of(currency) == decimals
    assert minor_units("15", currency) == minor


@pytest.mark.parametrize(
    ("figures", "why"),
    [
        (StockFigures(on_hand=-1), "between 0 and"),
        (StockFigures(price_minor=MOST_MINOR + 1), "price is too large"),
        (StockFigures(note="a\x00b"), "note"),
        (StockFigures(expected_on=date(2026, 3, 1)), "needs a number on order"),
    ],
)
def test_figures_that_cannot_be_kept_are_refused(
    figures: StockFigures, why: str
) -> None:
    with pytest.raises(InvalidRequest, match=why):
        checked(figures)


def test_what_was_entered_is_told_without_what_was_not() -> None:
    figures = StockFigures(on_order=3, expected_on=date(2026, 3, 1))

    assert figures.as_json() == {"on_order": 3, "expected_on": "2026-03-01"}
    assert (figures.coming, NOTHING_ENTERED.coming) == (3, 0)


@pytest.mark.parametrize("text", ["many", "1e3", "-4", "1" * 13, "200000", "٣"])
def test_a_number_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InvalidRequest, match="the number on hand is a whole number"):
        stock_from_text(NOTHING_ENTERED, {"on_hand": text}, "EUR")


def test_a_day_that_is_none_is_refused() -> None:
    texts = {"on_order": "2", "expected_on": "next week"}

    with pytest.raises(InvalidRequest, match="day"):
        stock_from_text(NOTHING_ENTERED, texts, "EUR")


def test_an_empty_text_clears_its_field_and_a_price_its_currency() -> None:
    before = StockFigures(on_hand=4, price_minor=900, currency="EUR", note="shelf 2")

    after = stock_from_text(before, {"on_hand": "", "price": "", "note": " "}, "EUR")

    assert after == NOTHING_ENTERED


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("type,on_hand\n", "must name pack_type"),
        ("pack_type,fitted\nk,3\n", "the file has none of"),
        ("pack_type,on_hand\nk\n", "line 2 has 1 cells"),
        ('pack_type,on_hand\n"k,3\n', "save it as CSV with commas"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_with_what_to_do(
    text: str, why: str
) -> None:
    with pytest.raises(InvalidRequest, match=why):
        read_stock(text.splitlines(keepends=True))


def test_a_file_of_too_many_rows_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stock_csv, "LARGEST_FILE", 1)

    with pytest.raises(InvalidRequest, match="over 1 rows; split it"):
        read_stock(["pack_type,on_hand\n", "k,1\n", "l,1\n"])


def test_empty_rows_are_passed_over() -> None:
    rows = read_stock(["pack_type,on_hand\n", ",\n", "k,1\n"])

    assert rows == [StockRow(3, "k", {"on_hand": "1"}, "")]


def test_rows_say_what_they_change_what_they_match_and_what_is_wrong() -> None:
    rows = [
        StockRow(2, TARN.key, {"on_hand": "2"}, ""),
        StockRow(3, CALLOW.key, {"on_hand": "5"}, ""),
        StockRow(4, TARN.key, {"on_hand": "9"}, ""),
        StockRow(5, "nobody|nothing|mWh|1|1", {"on_hand": "1"}, ""),
    ]

    plan = plan_stock(rows, [TARN, CALLOW], {1: StockFigures(on_hand=5)}, "EUR")

    assert [(one.type, one.after.on_hand) for one in plan.changes] == [(TARN, 2)]
    assert (plan.unchanged, plan.unmatched) == (1, (rows[3],))
    assert plan.problems == ("line 4: the pack type stands in line 2 already",)


def test_a_price_in_another_currency_is_refused() -> None:
    row = StockRow(2, TARN.key, {"price": "9.50"}, "USD")

    plan = plan_stock([row], [TARN], {}, "EUR")

    assert plan.problems == ("line 2: prices are in EUR, not USD",)
