"""Read places from a CSV file and say what they would change."""

import csv
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fadewatch_collector.errors import InvalidRequest

if TYPE_CHECKING:
    from _csv import Reader

KEY = "laptop_serial"
FIELDS = ("asset_tag", "holder", "site")
VALUE_LENGTH = 200
"""Longest asset tag, holder or site [characters]. Own choice."""

LARGEST_FILE = 200_000
"""Rows of a file at most. Own choice."""


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """One row: a serial, and the fields that the file has (empty clears a field)."""

    line: int
    serial: str
    values: Mapping[str, str | None]


@dataclass(frozen=True, slots=True)
class KnownPlace:
    """Where a laptop is now."""

    laptop_id: int
    serial: str
    values: Mapping[str, str | None]


@dataclass(frozen=True, slots=True)
class PlaceChange:
    """What an import would change in one laptop."""

    laptop_id: int
    serial: str
    before: Mapping[str, str | None]
    after: Mapping[str, str | None]


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """What an import would do; problems name the line."""

    changes: tuple[PlaceChange, ...]
    unchanged: int
    unmatched: tuple[PlaceRow, ...]
    problems: tuple[str, ...]


def read_places(lines: Iterable[str]) -> list[PlaceRow]:
    """Read a CSV file with a heading line.

    Parameters
    ----------
    lines
        Lines of the file, as opened with ``newline=""``.

    Raises
    ------
    InvalidRequest
        A heading is missing or unknown, or a row is broken; the message names the
        line and says what to do.
    """
    reader = csv.reader(lines, strict=True)
    try:
        headings = [heading.strip() for heading in next(reader, [])]
        fields = _fields(headings)
        return list(_rows(reader, headings, fields))
    except csv.Error as problem:
        raise InvalidRequest(
            f"line {reader.line_num}: {problem}; save it as CSV with commas"
        ) from problem


def _fields(headings: Sequence[str]) -> list[str]:
    if headings and headings[0].startswith("\ufeff"):
        raise InvalidRequest("open the file as UTF-8 with its byte order mark removed")
    unknown = [name for name in headings if name not in (KEY, *FIELDS)]
    if KEY not in headings or unknown or len(set(headings)) != len(headings):
        raise InvalidRequest(
            f"the first line must name {KEY} and any of {', '.join(FIELDS)}, once "
            f"each; it has: {', '.join(headings)[:200] or 'nothing'}"
        )
    fields = [name for name in headings if name in FIELDS]
    if not fields:
        raise InvalidRequest(f"the file has none of {', '.join(FIELDS)} to import")
    return fields


def _rows(
    reader: "Reader", headings: Sequence[str], fields: Sequence[str]
) -> Iterator[PlaceRow]:
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
        row = dict(zip(headings, (_unguarded(cell) for cell in cells), strict=True))
        yield PlaceRow(
            reader.line_num, row[KEY], {name: row[name] or None for name in fields}
        )


def _unguarded(cell: str) -> str:
    """Strip a cell, and the apostrophe that our own exports put before formulas."""
    text = cell.strip()
    return text[1:] if text[:1] == "'" and text[1:2] in "=+-@" else text


def plan_import(
    rows: Sequence[PlaceRow], known: Mapping[str, Sequence[KnownPlace]]
) -> ImportPlan:
    """Say what rows would change.

    Parameters
    ----------
    known
        The laptops of each serial, in the form ``match_key`` gives.
    """
    changes: list[PlaceChange] = []
    unmatched: list[PlaceRow] = []
    problems: list[str] = []
    seen: dict[str, int] = {}
    unchanged = 0
    for row in rows:
        key = match_key(row.serial)
        problem = _problem(row, seen.get(key), len(known.get(key, ())))
        seen.setdefault(key, row.line)
        if problem:
            problems.append(f"line {row.line}: {problem}")
        elif key not in known:
            unmatched.append(row)
        elif change := _change(row, known[key][0]):
            changes.append(change)
        else:
            unchanged += 1
    return ImportPlan(tuple(changes), unchanged, tuple(unmatched), tuple(problems))


def match_key(serial: str) -> str:
    """Return a serial as it is compared: blanks and case do not count."""
    return "".join(serial.split()).casefold()


def _problem(row: PlaceRow, earlier: int | None, laptops: int) -> str | None:
    if not row.serial:
        return f"{KEY} is empty"
    if earlier is not None:
        return f"the serial stands in line {earlier} already"
    if laptops > 1:
        return f"{laptops} laptops have this serial; set them by hand"
    for name, value in row.values.items():
        if value is not None and len(value) > VALUE_LENGTH:
            return f"{name} is longer than {VALUE_LENGTH} characters"
        if value is not None and not value.isprintable():
            return f"{name} has characters that cannot be shown"
    return None


def _change(row: PlaceRow, known: KnownPlace) -> PlaceChange | None:
    before = {name: known.values.get(name) for name in row.values}
    if before == dict(row.values):
        return None
    return PlaceChange(known.laptop_id, known.serial, before, dict(row.values))
