"""Forget a laptop, or a holder: what is held goes, and a search proves it."""

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.rules.search_terms import folded
from fadewatch_collector.store import audit
from fadewatch_collector.store import forgetting as rows
from fadewatch_collector.store.held import held_rows, is_held
from fadewatch_collector.store.laptop_page import LaptopDetail, laptop_detail
from fadewatch_collector.store.mentions import Mention, Words, blank, mentions
from fadewatch_collector.store.search import refresh_terms
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services
from fadewatch_common.placeholders import is_placeholder

SHORTEST_WORD = 4
"""Shortest name or number that is searched for: a shorter one is in other words, too
[characters]. Own choice."""

SHORTEST_HOLDER = 3
"""Shortest name of a holder that can be forgotten [characters]. Own choice."""

LONGEST_NUMBER = 15
"""Digits of a laptop's number at most; longer ones are serials [count]."""

_TELLS = re.compile(r"[1-9]")
"""What no name has that firmware ships unset; asset tags that look alike have it."""

_OPERATORS = frozenset(
    {"who", "name", "created_by", "changed_by", "removed_by", "decided_by", "ended_by"}
    | {"undone_by", "forgotten_by", "subject_name", "oidc_subject"}
)
"""Columns in which people who sign in here stand: accounts, not holders."""

_REPORTED = frozenset(
    {"laptops", "reports", "packs", "readings", "inventory_changes", "search_terms"}
)
"""Tables of what laptops say of themselves; it comes again with the next report."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """What was forgotten, or would be.

    Attributes
    ----------
    deleted, cut_off, blanked
        Rows deleted, rows that stay without the laptop, and values in which a word was
        blanked, each by table or place.
    stays
        Values left as they are in which a word stands, by place.
    left
        What a search found after it was done: nothing, or something is wrong.
    not_searched
        Sentences: what was not searched for, and why.
    """

    what: str
    done: bool
    deleted: Mapping[str, int] = field(default_factory=dict)
    cut_off: Mapping[str, int] = field(default_factory=dict)
    blanked: Mapping[str, int] = field(default_factory=dict)
    stays: Mapping[str, int] = field(default_factory=dict)
    left: Mapping[str, int] = field(default_factory=dict)
    not_searched: tuple[str, ...] = ()

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON takes it."""
        told = {one.name: getattr(self, one.name) for one in fields(self)}
        return {
            name: dict(value) if isinstance(value, Mapping) else value
            for name, value in told.items()
        }


async def forget_laptop(
    services: Services, laptop_id: int, who: str, *, dry_run: bool
) -> Forgotten:
    """Forget a laptop: its key ends, and nothing that tells of it stays.

    The daily values, assessments and forecasts of its packs stay, without the laptop:
    a pack is no person. So do a pack's inspections and its record among the removed
    ones, without their notes.

    Raises
    ------
    NotFound
        There is no such laptop.
    Conflict
        An alert tells to stop using it: somebody has to have dealt with that first.
    """
    what = f"laptop {laptop_id}"
    words, not_searched = await _words_of(services, laptop_id)
    found = await _mentions(services, words, laptop_id)
    goes = [one for one in found if one.table.name not in _REPORTED]
    stays = _places(one for one in found if one not in goes)
    if dry_run:
        async with services.store.reading() as connection:
            await _refuse_stop_use(connection, laptop_id)
            counted = await rows.rows_of(connection, laptop_id)
        return Forgotten(
            what=what,
            done=False,
            deleted=counted,
            blanked=_places(goes),
            stays=stays,
            not_searched=not_searched,
        )
    now = services.clock()
    async with services.store.writing() as connection:
        await _hold(connection, laptop_id)
        deleted, cut_off = await rows.delete_laptop(connection, laptop_id, who, now)
        blanked = await blank(connection, words, goes)
        detail = {"deleted": sum(deleted.values()), "cut_off": sum(cut_off.values())}
        await audit.note(
            connection, now, who, "laptop forgotten", f"laptop:{laptop_id}", detail
        )
    async with services.store.reading() as connection:
        left = await held_rows(connection, laptop_id)
        again = [one async for one in mentions(connection, words)]
        left += _places(one for one in again if one.table.name not in _REPORTED)
    return Forgotten(
        what=what,
        done=True,
        deleted=deleted,
        cut_off=cut_off,
        blanked=blanked,
        stays=stays,
        left=left,
        not_searched=not_searched,
    )


async def _hold(connection: WriteConnection, laptop_id: int) -> None:
    if await rows.hold_laptop(connection, laptop_id) is None:
        raise NotFound("laptop", laptop_id)
    await _refuse_stop_use(connection, laptop_id)


async def _refuse_stop_use(connection: WriteConnection, laptop_id: int) -> None:
    alert = await rows.open_stop_use(connection, laptop_id)
    if alert is not None:
        raise Conflict(
            f"alert {alert} tells to stop using it: deal with the pack and end the "
            "alert first, or nobody will be told of it any more"
        )


async def laptop_known(services: Services, laptop_id: int) -> LaptopDetail:
    """Return a laptop.

    Raises
    ------
    NotFound
        There is none of this number.
    """
    async with services.store.reading() as connection:
        found = await laptop_detail(connection, laptop_id)
    if found is None:
        raise NotFound("laptop", laptop_id)
    return found


async def laptop_named(services: Services, named: str) -> int:
    """Return the laptop with a number, or else with a serial.

    Raises
    ------
    NotFound
        There is none.
    Conflict
        Several have the serial.
    """
    async with services.store.reading() as connection:
        if named.isascii() and named.isdigit() and len(named) <= LONGEST_NUMBER:
            number = int(named)
            if await is_held(connection, number):
                return number
        found = await rows.laptops_with_serial(connection, named)
    if not found:
        raise NotFound("laptop with the number or serial", named)
    if len(found) > 1:
        names = ", ".join(map(str, found))
        raise Conflict(f"the laptops {names} have this serial: name one by its number")
    return found[0]


async def _words_of(
    services: Services, laptop_id: int
) -> tuple[Words, tuple[str, ...]]:
    """Return what to search for, and sentences on what is left out."""
    async with services.store.reading() as connection:
        if not await is_held(connection, laptop_id):
            raise NotFound("laptop", laptop_id)
        searched, left_out = [], []
        for word in sorted(await rows.was_known_by(connection, laptop_id)):
            why = None
            if is_placeholder(word) and not _TELLS.search(word):
                why = "a placeholder"
            elif len(word) < SHORTEST_WORD:
                why = "too short"
            elif other := await rows.others_known_by(connection, laptop_id, word):
                why = f"laptop {other} has it too"
            if why is None:
                searched.append(word)
            else:
                left_out.append(f"“{word}” is not searched for: {why}")
    return Words(searched), tuple(left_out)


async def _mentions(services: Services, words: Words, laptop_id: int) -> list[Mention]:
    """Return where a laptop is named in rows that are not its own."""
    async with services.store.reading() as connection:
        return [
            one
            async for one in mentions(
                connection, words, lambda table: rows.will_be_deleted(table, laptop_id)
            )
        ]


async def forget_holder(
    services: Services, name: str, who: str, *, dry_run: bool
) -> Forgotten:
    """Forget somebody who had a laptop: the name is blanked wherever it stands.

    Operators' accounts are no holders and stay, as does what laptops report of
    themselves (a host name that is somebody's name): both are told.

    Raises
    ------
    InvalidRequest
        The name is too short to be searched for.
    NotFound
        The name stands nowhere.
    """
    name = " ".join(name.split())
    if len(folded(name)) < SHORTEST_HOLDER:
        raise InvalidRequest(
            f"a name needs {SHORTEST_HOLDER} characters or more to be searched for"
        )
    words = Words([name])
    async with services.store.reading() as connection:
        numbers = await rows.laptops_of_holder(connection, name)
        found = [one async for one in mentions(connection, words)]
    goes = [one for one in found if _is_a_holders(one, numbers)]
    if not numbers and not goes:
        raise NotFound("holder", name)
    blanked = Counter({"laptops.holder": len(numbers)})
    if dry_run:
        kept = (one for one in found if one not in goes and not _is_derived(one))
        return Forgotten(
            what="a holder",
            done=False,
            blanked=+(blanked + _places(goes)),
            stays=_places(kept),
        )
    now = services.clock()
    async with services.store.writing() as connection:
        await rows.clear_holder(connection, numbers)
        blanked = +(blanked + await blank(connection, words, goes))
        touched = {one.key[0] for one in goes if one.table.name == "laptops"}
        await refresh_terms(connection, {*numbers, *touched})
        # Without the name: this line stays.
        detail = {"blanked": sum(blanked.values())}
        await audit.note(connection, now, who, "holder forgotten", "holders", detail)
    async with services.store.reading() as connection:
        found = [one async for one in mentions(connection, words)]
    left = [one for one in found if _is_a_holders(one, ())]
    return Forgotten(
        what="a holder",
        done=True,
        blanked=blanked,
        stays=_places(one for one in found if one not in left),
        left=_places(left),
    )


def _is_a_holders(one: Mention, cleared: Collection[int]) -> bool:
    """Say whether a value names a holder, and not an operator or a laptop."""
    if one.column.name == "holder":
        return one.key[0] not in cleared
    return one.column.name not in _OPERATORS and one.table.name not in _REPORTED


def _is_derived(one: Mention) -> bool:
    """Say whether a value is made anew from others that are blanked."""
    return one.table.name == "search_terms" or one.column.name == "holder"


def _places(found: Iterable[Mention]) -> Counter[str]:
    return Counter(one.place for one in found)
