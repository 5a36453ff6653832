"""Swaps: what took what's place, and a person's word on it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.answers import LaptopName, PackName
from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import BODY_BYTES, NOTHING_ELSE, Number
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.parts import goes_on_at, part_of
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.store.swaps import SwapDetail, SwapFilter, SwapState
from fadewatch_collector.usecases.swaps import (
    confirm_swap,
    find_swap,
    list_swaps,
    reject_swap,
)

LIST = "swaps"


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapQuery:
    """Which swaps, and where the list goes on."""

    __pydantic_config__ = NOTHING_ELSE

    state: SwapState | None = None
    laptop: Number | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """A pack that took another's place.

    Attributes
    ----------
    wrong
        What speaks against the new pack; nothing: it looks right.
    remarks
        What else is to know about it.
    """

    id: int
    laptop: LaptopName
    site: str | None
    slot: str
    at: datetime
    old_pack: PackName
    new_pack: PackName
    state: SwapState
    wrong: Sequence[str]
    remarks: Sequence[str]
    decided_at: datetime | None
    decided_by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapPage:
    """A part of the list of swaps: the one seen last first.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    swaps: Sequence[Swap]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapConfirmation:
    """The swap was meant.

    Attributes
    ----------
    swollen
        Whether the removed pack was swollen; null is not told.
    """

    __pydantic_config__ = NOTHING_ELSE

    swollen: bool | None


_SWAP = TypeAdapter(Swap)
_SWAPS = TypeAdapter(SwapPage)
_CONFIRMATION = TypeAdapter(SwapConfirmation)


async def show_swaps(request: web.Request) -> web.Response:
    """Answer with a part of the list of swaps."""
    query = query_of(request, SwapQuery)
    found = await list_swaps(
        request.app[SERVICES],
        SwapFilter(state=query.state, laptop_id=query.laptop),
        before=goes_on_at(LIST, query.cursor),
        limit=query.limit + 1,
    )
    some, cursor = part_of(LIST, found, query.limit)
    page = SwapPage(swaps=[swap_answer(one) for one in some], next=cursor)
    return reply(_SWAPS, page)


async def show_swap(request: web.Request) -> web.Response:
    """Answer with one swap."""
    return await _answer(request, _number(request))


async def confirm(request: web.Request) -> web.Response:
    """Confirm a swap."""
    asked = await read_model(request, _CONFIRMATION, BODY_BYTES)
    number, services = _number(request), request.app[SERVICES]
    await confirm_swap(services, number, request[OPERATOR], swollen=asked.swollen)
    return await _answer(request, number)


async def reject(request: web.Request) -> web.Response:
    """Say that there was no swap, or that the pack goes out again."""
    number = _number(request)
    await reject_swap(request.app[SERVICES], number, request[OPERATOR])
    return await _answer(request, number)


def swap_answer(row: SwapDetail) -> Swap:
    """Word one swap."""
    return Swap(
        id=row.id,
        laptop=LaptopName(
            id=row.laptop_id,
            hostname=row.hostname,
            asset_tag=row.asset_tag,
            maker=row.laptop_maker,
            model=row.laptop_model,
            serial=row.laptop_serial,
        ),
        site=row.site,
        slot=row.slot,
        at=row.at,
        old_pack=PackName(
            id=row.old_pack_id,
            maker=row.old_maker,
            model=row.old_model,
            serial=row.old_serial,
        ),
        new_pack=PackName(
            id=row.new_pack_id,
            maker=row.new_maker,
            model=row.new_model,
            serial=row.new_serial,
        ),
        state=row.state,
        wrong=row.wrong,
        remarks=row.remarks,
        decided_at=row.decided_at,
        decided_by=row.decided_by,
    )


def _number(request: web.Request) -> int:
    return number_in(request, "swap_id", "swap")


async def _answer(request: web.Request, number: int) -> web.Response:
    return reply(_SWAP, swap_answer(await find_swap(request.app[SERVICES], number)))
