"""Cells and lines of every CSV file that is exported.

The files follow RFC 4180: CRLF line ends, one header line, UTF-8. Text is always in
quotes; numbers, dates and moments never are, so that a program which looks at quotes
keeps a serial such as ``00123`` as text. What is not known is an empty field.
"""

import re
from collections.abc import Callable, Sequence, Set
from datetime import date, datetime
from string import ascii_letters, digits
from typing import Any, NamedTuple

CHUNK = 500
"""Rows read and written at a time [count]. Own choice."""

BYTE_ORDER_MARK = b"\xef\xbb\xbf"

_CAN_START_FORMULA = re.compile(
    "'*(?:[\t\r\n\0]|[\\s\0]*[-=+@\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH EQUALS SIGN}"
    "\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH COMMERCIAL AT}])"
)
"""Text that a spreadsheet may take for a formula.

OWASP ASVS 5.0 1.2.10 names = + - @ tab and NUL; OWASP's page on CSV injection adds
line ends and the full-width forms (from memory). Leading blanks count because some
programs trim them, leading apostrophes so that taking one away gives the text back.
"""


_HARMLESS = frozenset(ascii_letters + digits)
"""First characters of texts that no spreadsheet takes for a formula."""


class Column(NamedTuple):
    """A column: its name, where it comes from, and how its cells are written."""

    name: str
    source: str
    write: Callable[[Sequence[Any]], list[str]]


def header_line(columns: Sequence[Column], *, byte_order_mark: bool = False) -> bytes:
    """Return the first line of a file.

    Parameters
    ----------
    byte_order_mark
        Begin with U+FEFF, by which some spreadsheet programs tell UTF-8 from an old
        code page. To most other readers the mark becomes a part of the first column's
        name.
    """
    names = ",".join(column.name for column in columns) + "\r\n"
    return (BYTE_ORDER_MARK if byte_order_mark else b"") + names.encode()


def csv_lines(columns: Sequence[Column], rows: Sequence[Sequence[Any]]) -> bytes:
    """Return rows as lines; a row has a value for each column."""
    # Column by column: one call for each column of a chunk in place of one a cell.
    by_column = zip(columns, zip(*rows, strict=True), strict=True)
    cells = [column.write(values) for column, values in by_column]
    lines = map(",".join, zip(*cells, strict=True))
    return ("\r\n".join(lines) + "\r\n").encode("utf-8", "replace")


def guarded(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet could run as a formula."""
    # Nearly every text begins with a letter or a digit: asking that first is cheaper.
    if text[:1].isalnum() or not _CAN_START_FORMULA.match(text):
        return text
    return "'" + text


def quoted(text: str) -> str:
    """Return a text in quotes, harmless to a spreadsheet."""
    return '"' + guarded(text).replace('"', '""') + '"'


def text_cells(values: Sequence[str | None]) -> list[str]:
    """Write texts."""
    distinct = set(values)
    if len(distinct) > len(values) // 2 and _is_plain(distinct):
        return [f'"{text}"' for text in values]
    # A column that repeats its texts (sites, makers, models): each is quoted once.
    cells = {text: "" if text is None else quoted(text) for text in distinct}
    return [cells[text] for text in values]


def _is_plain(texts: Set[str | None]) -> bool:
    """Say whether all of these need nothing but quotes around them."""
    try:
        firsts = {text[:1] for text in texts}  # type: ignore[index]  # None is caught
    except TypeError:
        return False
    return firsts <= _HARMLESS and not any('"' in text for text in texts)  # type: ignore[operator]  # there is no None


def number_cells(values: Sequence[int | None]) -> list[str]:
    """Write whole numbers."""
    return ["" if number is None else str(number) for number in values]


def percent_cells(values: Sequence[float | None]) -> list[str]:
    """Write fractions in percent."""
    # z: a wear of -0.0004 is 0.0, not -0.0.
    return ["" if part is None else f"{part * 100:z.1f}" for part in values]


def rate_cells(values: Sequence[float | None]) -> list[str]:
    """Write fractions in percent, for rates."""
    # Packs fade by about 1 % a month: one decimal would hide most differences.
    return ["" if part is None else f"{part * 100:z.2f}" for part in values]


def day_cells(values: Sequence[date | None]) -> list[str]:
    """Write days (ISO 8601)."""
    return ["" if day is None else day.isoformat() for day in values]


def moment_cells(values: Sequence[datetime | None]) -> list[str]:
    """Write moments in UTC (ISO 8601)."""
    # The store gives moments in UTC; a fraction of a second helps nobody here.
    return ["" if at is None else at.isoformat()[:19] + "Z" for at in values]
