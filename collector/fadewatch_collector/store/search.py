"""Find laptops by names and numbers, and keep what they are found by up to date."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Select,
    and_,
    delete,
    exists,
    literal,
    or_,
    select,
    tuple_,
    union,
    union_all,
)
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.search_terms import SHORTEST_END, terms_by_source
from fadewatch_collector.store.tables import laptops, packs, search_terms, slot_stays

FEW = 1_000
"""Up to how many laptops a word may match to be looked up by number [count].

A word that matches more is checked laptop by laptop in the order of the list, which
ends early because so many match. Own choice.
"""

LAPTOPS_AT_ONCE = 500
"""Laptops whose terms are compared in one step [count]. Own choice."""

LAST = "\U0010ffff"
"""Sorts after every text that goes on from the same beginning."""


async def refresh_terms(
    connection: AsyncConnection, laptop_ids: Collection[int]
) -> None:
    """Bring the terms of laptops into line with what is known of them by now."""
    numbers = sorted(laptop_ids)
    for start in range(0, len(numbers), LAPTOPS_AT_ONCE):
        await _refresh(connection, numbers[start : start + LAPTOPS_AT_ONCE])


async def _refresh(connection: AsyncConnection, numbers: Sequence[int]) -> None:
    wanted = await _wanted(connection, numbers)
    column = search_terms.c
    query = select(column.laptop_id, column.source, column.term).where(
        column.laptop_id.in_(numbers)
    )
    kept: set[tuple[int, str, str]] = {
        (row.laptop_id, row.source, row.term) for row in await connection.execute(query)
    }
    if gone := kept - wanted:
        key = tuple_(column.laptop_id, column.source, column.term)
        await connection.execute(delete(search_terms).where(key.in_(gone)))
    if new := wanted - kept:
        make_insert = (
            sqlite.insert if connection.dialect.name == "sqlite" else postgresql.insert
        )
        # Another collector may keep the same laptop's terms at this moment.
        await connection.execute(
            make_insert(search_terms).on_conflict_do_nothing(),
            [
                {
                    "laptop_id": number,
                    "source": source,
                    "term": term,
                    "backwards": term[::-1],
                }
                for number, source, term in sorted(new)
            ],
        )


async def _wanted(
    connection: AsyncConnection, numbers: Sequence[int]
) -> set[tuple[int, str, str]]:
    laptop, stay = laptops.c, slot_stays.c
    named = await connection.execute(
        select(
            laptop.id, laptop.asset_tag, laptop.serial, laptop.hostname, laptop.holder
        ).where(laptop.id.in_(numbers))
    )
    fitted = await connection.execute(
        select(stay.laptop_id, packs.c.serial)
        .join(packs, packs.c.id == stay.pack_id)
        .where(
            stay.laptop_id.in_(numbers),
            stay.until_at.is_(None),
            packs.c.serial.is_not(None),
        )
    )
    serials: dict[int, list[str]] = defaultdict(list)
    for number, serial in fitted:
        serials[number].append(serial)
    return {
        (row.id, source, term)
        for row in named
        for source, term in terms_by_source(
            {
                "asset tag": (row.asset_tag,),
                "serial": (row.serial,),
                "host name": (row.hostname,),
                "holder": (row.holder,),
                "pack serial": serials[row.id],
            }
        )
    }


async def laptops_sought(
    connection: AsyncConnection, words: Sequence[str]
) -> ColumnElement[bool]:
    """Return the condition on ``laptops`` that all words are found.

    One query finds the rarest word; the cost follows the number of rows shown, not
    that of the fleet.
    """
    found: dict[int, set[int]] = {place: set() for place in range(len(words))}
    probes = [
        select(_matching(word, place).limit(FEW + 1).subquery())
        for place, word in enumerate(words)
    ]
    for place, number in await connection.execute(union_all(*probes)):
        found[place].add(number)
    rarest = min(found, key=lambda place: len(found[place]))
    if len(found[rarest]) <= FEW:
        others = [word for place, word in enumerate(words) if place != rarest]
        return and_(laptops.c.id.in_(sorted(found[rarest])), *map(_has, others))
    return and_(*map(_has, words))


def _matching(word: str, place: int) -> Select[Any]:
    column = search_terms.c
    parts = [
        select(column.laptop_id).where(condition).limit(FEW + 1).subquery()
        for condition in _conditions(word)
    ]
    laptop_ids = union(*(select(part) for part in parts)).subquery()
    return select(literal(place), laptop_ids.c.laptop_id)


def _has(word: str) -> ColumnElement[bool]:
    return exists().where(
        search_terms.c.laptop_id == laptops.c.id, or_(*_conditions(word))
    )


def _conditions(word: str) -> Iterable[ColumnElement[bool]]:
    yield _begins(search_terms.c.term, word)
    if len(word) >= SHORTEST_END:
        yield _begins(search_terms.c.backwards, word[::-1])


def _begins(column: ColumnElement[Any], word: str) -> ColumnElement[bool]:
    return and_(column >= word, column < word + LAST)
