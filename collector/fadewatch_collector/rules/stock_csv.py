"""Read stock figures from a CSV file and say what they would change."""

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.money import plain_price
from fadewatch_collector.rules.pack_types import PackType, same_type
from fadewatch_collector.rules.stock import (
    NOTHING_ENTERED,
    STOCK_FIELDS,
    StockFigures,
    stock_from_text,
)

if TYPE_CHECKING:
    from _csv import Reader

KEY = "pack_type"
DESCRIBING = (
    "pack_maker",
    "pack_model",
    "capacity_unit",
    "design_capacity",
    "design_voltage_mv",
    "chemistry",
    "fitted",
    "currency",
)
"""Columns of our own export that say what a row is about; an import passes them over."""

LARGEST_FILE = 2_000
"""Rows of a file at most. Own choice: an organisation has some hundred pack types."""


@dataclass(frozen=True, slots=True)
class StockRow:
    """One row: a pack type's key, and the fields that the file has."""

    line: int
    key: str
    texts: Mapping[str, str]
    currency: str


@dataclass(frozen=True, slots=True)
class StockChange:
    """What an import would change of one type."""

    type: PackType
    before: StockFigures
    after: StockFigures


@dataclass(frozen=True, slots=True)
class StockPlan:
    """What an import would do; problems name the line."""

    changes: tuple[StockChange, ...]
    unchanged: int
    unmatched: tuple[StockRow, ...]
    problems: tuple[str, ...]


def read_stock(lines: Iterable[str]) -> list[StockRow]:
    """Read a CSV file with a heading line.

    Raises
    ------
    InvalidRequest
        A heading is missing or unknown, or a row is broken; the message names the
        line and says what to do.
    """
    reader = csv.reader(lines, strict=True)
    try:
        headings = [heading.strip() for heading in next(reader, [])]
        _check(headings)
        return list(_rows(reader, headings))
    except csv.Error as problem:
        raise InvalidRequest(
            f"line {reader.line_num}: {problem}; save it as CSV with commas"
        ) from problem


def _check(headings: Sequence[str]) -> None:
    known = (KEY, *STOCK_FIELDS, *DESCRIBING)
    unknown = [name for name in headings if name not in known]
    if KEY not in headings or unknown or len(set(headings)) != len(headings):
        raise InvalidRequest(
            f"the first line must name {KEY} and any of {', '.join(STOCK_FIELDS)}, once "
            f"each; it has: {', '.join(headings)[:200] or 'nothing'}"
        )
    if not any(name in STOCK_FIELDS for name in headings):
        raise InvalidRequest(f"the file has none of {', '.join(STOCK_FIELDS)}")


def _rows(reader: "Reader", headings: Sequence[str]) -> Iterator[StockRow]:
    for count, cells in enumerate(reader):
        if not any(cell.strip() for cell in cells):
            continue
        if count >= LARGEST_FILE:
            raise InvalidRequest(f"the file has over {LARGEST_FILE} rows; split it")
        if len(cells) != len(headings):
            raise InvalidRequest(
                f"line {reader.line_num} has {len(cells)} cells, the first line "
                f"{len(headings)}"
            )
        row = dict(zip(headings, map(_unguarded, cells), strict=True))
        texts = {name: row[name] for name in headings if name in STOCK_FIELDS}
        yield StockRow(reader.line_num, row[KEY], texts, row.get("currency", ""))


def _unguarded(cell: str) -> str:
    """Strip a cell, and the apostrophe that our own exports put before formulas."""
    text = cell.strip()
    return text[1:] if text[:1] == "'" and text[1:2] in "=+-@" else text


def plan_stock(
    rows: Sequence[StockRow],
    types: Sequence[PackType],
    known: Mapping[int, StockFigures],
    currency: str,
) -> StockPlan:
    """Say what rows would change.

    Parameters
    ----------
    types
        Types that can have stock.
    known
        What was entered already, by a type's place among them.
    currency
        That prices are in.
    """
    changes: list[StockChange] = []
    unmatched: list[StockRow] = []
    problems: list[str] = []
    seen: dict[int, int] = {}
    by_key = {kind.key: place for place, kind in enumerate(types)}
    unchanged = 0
    for row in rows:
        try:
            place = by_key.get(row.key)
            place = same_type(row.key, types) if place is None else place
            if place is None:
                unmatched.append(row)
                continue
            _refuse(row, seen.get(place), currency)
            seen[place] = row.line
            before = known.get(place, NOTHING_ENTERED)
            after = stock_from_text(before, row.texts, currency)
        except InvalidRequest as problem:
            problems.append(f"line {row.line}: {problem}")
            continue
        if before == after:
            unchanged += 1
        else:
            changes.append(StockChange(types[place], before, after))
    return StockPlan(tuple(changes), unchanged, tuple(unmatched), tuple(problems))


def _refuse(row: StockRow, earlier: int | None, currency: str) -> None:
    if earlier is not None:
        raise InvalidRequest(f"the pack type stands in line {earlier} already")
    if row.texts.get("price") and row.currency not in {"", currency}:
        raise InvalidRequest(f"prices are in {currency}, not {row.currency[:10]}")


def stock_words(change: StockChange) -> str:
    """Say in one line what changes of a type."""
    before, after = change.before.as_json(), change.after.as_json()
    names = [name for name in before | after if before.get(name) != after.get(name)]
    return ", ".join(
        f"{_WORDS[name]} {_said(before, name)} -> {_said(after, name)}"
        for name in names
        if name in _WORDS
    )


_WORDS = {
    "on_hand": "on hand",
    "on_order": "on order",
    "expected_on": "expected on",
    "lead_time_days": "lead time [days]",
    "price_minor": "price",
    "note": "note",
}


def _said(values: Mapping[str, Any], name: str) -> str:
    if values.get(name) is None:
        return "-"
    if name == "price_minor":
        return f"{plain_price(values[name], values['currency'])} {values['currency']}"
    return str(values[name])
