"""What people enter of a pack type: stock, orders, lead time and price."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.money import minor_units
from fadewatch_collector.rules.notes import note_problem

STOCK_FIELDS = (
    "on_hand",
    "on_order",
    "expected_on",
    "lead_time_days",
    "price",
    "note",
)
"""What a form or a file may set, by the names it uses."""

MOST_PACKS = 100_000
MOST_DAYS = 730
MOST_MINOR = 10**11
NOTE_LENGTH = 500
"""Largest figures [count, day, minor unit, characters] taken. Own choice."""

_WHOLE = {
    "on_hand": ("the number on hand", MOST_PACKS),
    "on_order": ("the number on order", MOST_PACKS),
    "lead_time_days": ("the lead time in days", MOST_DAYS),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StockFigures:
    """What is known of a type beside its packs; None was not entered.

    Parameters
    ----------
    expected_on
        Day on which what is on order should arrive.
    lead_time_days
        From an order to packs in hand [d].
    price_minor
        Of one pack, in minor units of ``currency``.
    """

    on_hand: int | None = None
    on_order: int | None = None
    expected_on: date | None = None
    lead_time_days: int | None = None
    price_minor: int | None = None
    currency: str | None = None
    note: str | None = None

    @property
    def coming(self) -> int:
        """Return how many packs need not be bought: on hand and on order."""
        return (self.on_hand or 0) + (self.on_order or 0)

    def as_json(self) -> dict[str, Any]:
        """Return what was entered, ready for JSON."""
        values: dict[str, Any] = {
            name: getattr(self, name) for name in StockFigures.__slots__
        }
        if self.expected_on is not None:
            values["expected_on"] = self.expected_on.isoformat()
        return {name: value for name, value in values.items() if value is not None}


NOTHING_ENTERED = StockFigures()


def stock_from_text(
    base: StockFigures, texts: Mapping[str, str], currency: str
) -> StockFigures:
    """Return figures with what a person wrote in some of `STOCK_FIELDS`.

    Parameters
    ----------
    texts
        An empty text clears its field.

    Raises
    ------
    InvalidRequest
        A text cannot be read; the message names it.
    """
    changed: dict[str, Any] = {}
    for name, written in texts.items():
        text = written.strip()
        if name == "price":
            minor = minor_units(text, currency) if text else None
            if minor != base.price_minor or base.currency != currency:
                changed["price_minor"] = minor
                changed["currency"] = None if minor is None else currency
        elif name == "expected_on":
            changed[name] = _day(text) if text else None
        elif name == "note":
            changed[name] = text or None
        else:
            changed[name] = _whole(text, *_WHOLE[name]) if text else None
    return checked(replace(base, **changed))


def checked(figures: StockFigures) -> StockFigures:
    """Return figures that can be kept.

    Raises
    ------
    InvalidRequest
        One cannot; the message names it.
    """
    for name, (what, most) in _WHOLE.items():
        number = getattr(figures, name)
        if number is not None and not 0 <= number <= most:
            raise InvalidRequest(f"{what} lies between 0 and {most}")
    if figures.price_minor is not None and not 0 <= figures.price_minor <= MOST_MINOR:
        raise InvalidRequest("the price is too large")
    if figures.note is not None:
        problem = note_problem(figures.note, "note", NOTE_LENGTH)
        if problem:
            raise InvalidRequest(problem)
    if figures.expected_on is not None and not figures.on_order:
        raise InvalidRequest("a day of arrival needs a number on order beside it")
    return figures


_LONGEST_NUMBER = 12
"""Characters of a number that a person may write, leading zeros and all. Own choice."""


def _whole(text: str, what: str, most: int) -> int:
    # Bounded before it is read: a number of thousands of digits cannot be.
    digits = text if text.isascii() and len(text) <= _LONGEST_NUMBER else ""
    if not digits.isdigit() or int(digits) > most:
        raise InvalidRequest(f"{what} is a whole number between 0 and {most}")
    return int(digits)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InvalidRequest("the day of arrival is written as 2027-03-31") from error
