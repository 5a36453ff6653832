"""Find words in every text and structure of the store, and blank them."""

import json
import re
import unicodedata
from collections import Counter
from collections.abc import AsyncIterator, Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    JSON,
    Column,
    Table,
    Text,
    and_,
    cast,
    func,
    or_,
    select,
    true,
    update,
)
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.store.tables import metadata

BLANK = "[forgotten]"
"""What stands where a forgotten word stood."""

HOLDER = "holder"
"""Name of what holds nothing but a holder in structures."""

_RUN = re.compile(r"[0-9A-Za-z]+")


@dataclass(frozen=True, slots=True)
class Mention:
    """A value in which a word was found."""

    table: Table
    column: Column[Any]
    key: tuple[Any, ...]
    value: Any

    @property
    def place(self) -> str:
        """Name of the table and column."""
        return f"{self.table.name}.{self.column.name}"


class Words:
    """Words to look for, whole and whatever their case."""

    def __init__(self, words: Collection[str]) -> None:
        self._words = tuple(words)
        forms = {
            unicodedata.normalize(form, word)
            for word in self._words
            for form in ("NFC", "NFD", "NFKC")
        }
        parts = (r"\s+".join(map(re.escape, form.split())) for form in sorted(forms))
        self._pattern = re.compile(
            rf"(?<!\w)(?:{'|'.join(sorted(parts, key=len, reverse=True))})(?!\w)",
            re.IGNORECASE,
        )

    def __bool__(self) -> bool:
        return bool(self._words)

    @property
    def runs(self) -> list[str] | None:
        """A run of plain letters and digits of each word; None: one has none.

        Every store and every escape of JSON keeps these as they are.
        """
        runs = [max(_RUN.findall(word), key=len, default="") for word in self._words]
        return [run.lower() for run in runs] if all(runs) else None

    def are_in(self, value: Any) -> bool:
        """Say whether one of them is in a text or structure."""
        if isinstance(value, str):
            return bool(self._pattern.search(value)) or self._in_json(value)
        if isinstance(value, dict):
            return any(map(self.are_in, [*value.keys(), *value.values()]))
        return isinstance(value, list) and any(map(self.are_in, value))

    def blanked(self, value: Any, name: str = "") -> Any:
        """Return a text or structure with the words blanked."""
        if isinstance(value, str):
            if name == HOLDER and self._pattern.fullmatch(value.strip()):
                return None
            return self._pattern.sub(BLANK, value)
        if isinstance(value, dict):
            return {key: self.blanked(one, key) for key, one in value.items()}
        if isinstance(value, list):
            return [self.blanked(one) for one in value]
        return value

    def _in_json(self, text: str) -> bool:
        # A kept body may write a letter by its number.
        if "\\u" not in text:
            return False
        try:
            return self.are_in(json.loads(text))
        except ValueError:
            return False


async def mentions(
    connection: AsyncConnection,
    words: Words,
    leave_out: Callable[[Table], Any] | None = None,
) -> AsyncIterator[Mention]:
    """Yield every value of the store that one of the words is in.

    Parameters
    ----------
    leave_out
        Returns a condition for rows of a table not to look at, or None.
    """
    if not words:
        return
    runs = words.runs
    for table in metadata.sorted_tables:
        columns = [one for one in table.c if isinstance(one.type, Text | JSON)]
        out = leave_out(table) if leave_out else None
        for column in columns:
            query = select(*table.primary_key.columns, column).where(
                column.is_not(None),
                _may_hold(column, runs),
                true() if out is None else ~out,
            )
            result = await connection.stream(query.execution_options(yield_per=500))
            async for *key, value in result:
                if words.are_in(value):
                    yield Mention(table, column, tuple(key), value)


def _may_hold(column: Column[Any], runs: Sequence[str] | None) -> Any:
    if runs is None:
        return true()
    text = func.lower(cast(column, Text))
    return or_(*(text.contains(run, autoescape=True) for run in runs))


async def blank(
    connection: AsyncConnection, words: Words, found: Collection[Mention]
) -> Counter[str]:
    """Blank the words where they were found; returns how many values, by place.

    A value that changed meanwhile is read again first.
    """
    done: Counter[str] = Counter()
    for one in found:
        keys = zip(one.table.primary_key.columns, one.key, strict=True)
        here = and_(*(column == value for column, value in keys))
        present = await connection.scalar(select(one.column).where(here))
        if present is None or not words.are_in(present):
            continue
        value = words.blanked(present, one.column.name)
        if value is None and not one.column.nullable:
            value = BLANK
        await connection.execute(
            update(one.table).where(here).values({one.column.name: value})
        )
        done[one.place] += 1
    return done
