"""Read pack histories from a CSV file, quickly, and account for every row."""

import csv
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from io import BufferedReader, TextIOWrapper
from itertools import islice
from math import isinf, nan
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fadewatch_collector.analysis.series import (
    FIRST_CREDIBLE_DAY,
    LAST_CREDIBLE_DAY,
    Histories,
)
from fadewatch_collector.errors import CollectorError

COLUMNS = (
    "pack_id",
    "measured_at",
    "design_capacity",
    "full_charge_capacity",
    "cycle_count",
)
NUMBERS = COLUMNS[2:]
ROWS_AT_ONCE = 20_000
MOST_NAMED = 10
"""Rows set aside that are named one by one; all are counted."""
_EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
_DATE_LENGTH = len("2026-01-31")

Advance = Callable[[int], object]


class UnreadableHistory(CollectorError, ValueError):
    """A file, or a row of it, from which no history can be read."""


@dataclass(frozen=True, slots=True)
class SetAside:
    """A row that cannot be read, and what to do about it."""

    line: int
    problem: str

    def __str__(self) -> str:
        """Name the line and the problem."""
        return f"line {self.line}: {self.problem}"


@dataclass(frozen=True, slots=True, eq=False)
class HistoryFile:
    """What a file holds.

    Attributes
    ----------
    histories
        Packs in the order in which the file names them first.
    rows
        Rows below the heading, blank lines left out.
    set_aside
        Rows that could not be read; the first of them, and how many in all.
    impossible_dates
        Rows of a day that no pack can have been measured on, which are not used.
    without_capacity
        Rows that leave the design or the full-charge capacity open.
    """

    histories: Histories
    rows: int
    set_aside: tuple[SetAside, ...]
    set_aside_count: int
    impossible_dates: int
    without_capacity: int


def read_history_csv(
    path: Path, *, strict: bool = False, advance: Advance | None = None
) -> HistoryFile:
    """Read histories from a CSV file with the columns of `COLUMNS`.

    Columns may stand in any order, and others beside them. A moment without an
    offset is taken as UTC.

    Parameters
    ----------
    strict
        Stop at the first row that cannot be read.
    advance
        Called with the number of bytes read since it was last called.

    Raises
    ------
    UnreadableHistory
        The file cannot be opened, its heading lacks a column, it is no UTF-8 text,
        not one row of it can be read, or, when strict, one row cannot.
    """
    gathered = _Gathered()
    try:
        with (
            path.open("rb") as file,
            TextIOWrapper(file, encoding="utf-8-sig", newline="") as text,
        ):
            for rows in _rows(text, file, gathered, advance):
                gathered.add(rows)
                if strict and gathered.set_aside:
                    raise UnreadableHistory(f"{path}, {gathered.set_aside[0]}")
    except OSError as problem:
        raise UnreadableHistory(
            f"{path} cannot be read: {problem.strerror}"
        ) from problem
    except UnicodeDecodeError as problem:
        raise UnreadableHistory(
            f"{path} is not UTF-8 text. Save it as CSV (UTF-8) and try again."
        ) from problem
    except csv.Error as problem:
        raise UnreadableHistory(
            f"{path}: no CSV after line {gathered.last_line} ({problem}). Look for a "
            "quotation mark that is never closed."
        ) from problem
    if not gathered.pack:
        raise UnreadableHistory(_nothing_read(path, gathered))
    return gathered.as_file()


@dataclass(frozen=True, slots=True)
class _Rows:
    lines: list[int]
    cells: list[list[str]]
    wanted: tuple[int, ...]
    width: int


def _rows(
    text: TextIOWrapper,
    file: BufferedReader,
    gathered: "_Gathered",
    advance: Advance | None,
) -> Iterator[_Rows]:
    reader = csv.reader(text)
    heading = next(reader, [])
    wanted = _wanted(heading)
    told = 0
    while True:
        lines, cells = [], []
        for row in islice(reader, ROWS_AT_ONCE):
            if row:
                lines.append(reader.line_num)
                cells.append(row)
        if reader.line_num == gathered.last_line:
            return
        gathered.last_line = reader.line_num
        yield _Rows(lines, cells, wanted, len(heading))
        if advance is not None:
            advance(file.tell() - told)
            told = file.tell()


def _wanted(heading: Sequence[str]) -> tuple[int, ...]:
    names = [name.strip().lower() for name in heading]
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        hint = " Separate columns by commas." if ";" in "".join(names) else ""
        raise UnreadableHistory(
            f"line 1: the heading lacks {', '.join(missing)}. It must name the columns "
            f"{','.join(COLUMNS)}.{hint}"
        )
    return tuple(names.index(name) for name in COLUMNS)


def _nothing_read(path: Path, gathered: "_Gathered") -> str:
    if gathered.set_aside:
        return f"{path}: no row can be read; {gathered.set_aside[0]}"
    return f"{path} holds a heading and no row below it."


@dataclass(slots=True)
class _Gathered:
    """Rows read so far, in columns."""

    last_line: int = 1
    rows: int = 0
    ids: dict[str, int] = field(default_factory=dict)
    pack: list[NDArray[np.int64]] = field(default_factory=list)
    day: list[NDArray[np.int64]] = field(default_factory=list)
    numbers: list[NDArray[np.float64]] = field(default_factory=list)
    set_aside: list[SetAside] = field(default_factory=list)
    set_aside_count: int = 0
    days_known: dict[str, int] = field(default_factory=dict)

    def add(self, rows: _Rows) -> None:
        self.rows += len(rows.cells)
        if not rows.cells:
            return
        try:
            names, days, numbers = self._all(rows)
        except ValueError:
            names, days, numbers = self._one_by_one(rows)
        if not names:
            return
        ids = self.ids
        self.pack.append(np.array([ids.setdefault(name, len(ids)) for name in names]))
        self.day.append(np.array(days, dtype=np.int64))
        self.numbers.append(numbers)

    def _all(self, rows: _Rows) -> tuple[list[str], list[int], NDArray[np.float64]]:
        """Read all rows at once; ValueError when one of them is not right."""
        columns = list(zip(*rows.cells, strict=True))
        if len(columns) != rows.width:
            raise ValueError
        names = [name.strip() for name in columns[rows.wanted[0]]]
        days = [self._day(text) for text in columns[rows.wanted[1]]]
        numbers = np.array(
            [[cell or "nan" for cell in columns[at]] for at in rows.wanted[2:]],
            dtype=np.float64,
        )
        if "" in names or np.isinf(numbers).any():
            raise ValueError
        return names, days, numbers

    def _one_by_one(
        self, rows: _Rows
    ) -> tuple[list[str], list[int], NDArray[np.float64]]:
        good: list[tuple[str, int, list[float]]] = []
        for line, cells in zip(rows.lines, rows.cells, strict=True):
            try:
                good.append(self._row(cells, rows))
            except ValueError as problem:
                self._put_aside(SetAside(line, str(problem)))
        numbers = np.array([row[2] for row in good], dtype=np.float64)
        return (
            [row[0] for row in good],
            [row[1] for row in good],
            numbers.reshape(-1, len(NUMBERS)).T,
        )

    def _row(self, cells: list[str], rows: _Rows) -> tuple[str, int, list[float]]:
        if len(cells) != rows.width:
            raise ValueError(
                f"{len(cells)} fields where the heading has {rows.width}; quote a "
                "field that holds a comma"
            )
        name, moment, *numbers = (cells[at].strip() for at in rows.wanted)
        if not name:
            raise ValueError("no pack_id; give every row the name of its pack")
        try:
            day = self._day(moment)
        except ValueError:
            raise ValueError(
                f"measured_at {_quoted(moment)} is no date; write it as 2026-01-31 or "
                "2026-01-31T08:30:00Z"
            ) from None
        return name, day, [*map(_number, NUMBERS, numbers)]

    def _put_aside(self, row: SetAside) -> None:
        self.set_aside_count += 1
        if len(self.set_aside) < MOST_NAMED:
            self.set_aside.append(row)

    def _day(self, text: str) -> int:
        known = self.days_known.get(text)
        if known is not None:
            return known
        day = _day_number(text.strip())
        # Bare dates repeat; moments hardly do, and would fill the memory.
        if len(text) == _DATE_LENGTH:
            self.days_known[text] = day
        return day

    def as_file(self) -> HistoryFile:
        pack, day = np.concatenate(self.pack), np.concatenate(self.day)
        design, full, cycles = np.concatenate(self.numbers, axis=1)
        impossible = (day < FIRST_CREDIBLE_DAY) | (day > LAST_CREDIBLE_DAY)
        return HistoryFile(
            histories=Histories.from_rows(
                tuple(self.ids),
                pack=pack,
                day=day,
                full=full,
                design=design,
                cycles=cycles,
            ),
            rows=self.rows,
            set_aside=tuple(self.set_aside),
            set_aside_count=self.set_aside_count,
            impossible_dates=int(impossible.sum()),
            without_capacity=int((np.isnan(design) | np.isnan(full)).sum()),
        )


def _day_number(text: str) -> int:
    if len(text) == _DATE_LENGTH:
        return date.fromisoformat(text).toordinal() - _EPOCH_ORDINAL
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is not None and moment.utcoffset():
        try:
            moment = moment.astimezone(UTC)
        except OverflowError as problem:
            raise ValueError(text) from problem
    return moment.toordinal() - _EPOCH_ORDINAL


def _number(name: str, text: str) -> float:
    if not text:
        return nan
    try:
        value = float(text)
    except ValueError:
        value = float("inf")
    if isinf(value):
        raise ValueError(
            f"{name} {_quoted(text)} is no number; write it in digits with a decimal "
            "point and no unit, or leave it empty"
        )
    return value


def _quoted(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:40] + "...")  # noqa: PLR2004
