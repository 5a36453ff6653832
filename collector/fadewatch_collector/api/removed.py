"""Removed packs: the register, and how they leave."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Literal

from aiohttp import web
from pydantic import StringConstraints, TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import (
    BODY_BYTES,
    NOTHING_ELSE,
    WRITTEN,
    Version,
)
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.parts import goes_on_at, part_of
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.store.removed import RemovedPack as Row
from fadewatch_collector.store.removed import RemovedState
from fadewatch_collector.usecases import removed
from fadewatch_collector.usecases.removed import TEXT_LENGTH
from fadewatch_common.report import Unit

LIST = "removed"

Way = Literal["collection point", "trained staff", "post", "air freight", "other"]
"""The names of :data:`~fadewatch_collector.usecases.removed.WAYS`."""

Words = Annotated[str, StringConstraints(max_length=TEXT_LENGTH, pattern=WRITTEN)]


@dataclass(frozen=True, slots=True, kw_only=True)
class RemovedQuery:
    """Which removed packs, and where the list goes on."""

    __pydantic_config__ = NOTHING_ELSE

    state: RemovedState | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class RemovedPack:
    """The record of a removed pack.

    Attributes
    ----------
    place
        Where it lies, or how it was handed over.
    swollen
        Null: nobody has said.
    version
        Send it with what is to be done.
    cautions
        With a swollen pack: for whoever handles it.
    """

    id: int
    pack_id: int
    laptop_id: int | None
    hostname: str | None
    asset_tag: str | None
    laptop_serial: str | None
    site: str | None
    slot: str
    maker: str | None
    model: str | None
    serial: str | None
    chemistry: str | None
    unit: Unit
    design_capacity: int | None
    full_charge_capacity: int | None
    state: RemovedState
    swollen: bool | None
    place: str | None
    note: str | None
    removed_at: datetime
    removed_by: str
    changed_at: datetime
    changed_by: str | None
    version: int
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class RemovedPage:
    """A part of the register: newest record first.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    removed: Sequence[RemovedPack]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingAside:
    """Where a removed pack lies; ``swollen`` and ``note`` stay when they are null."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    place: Words
    swollen: bool | None = None
    note: Words | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackHandOver:
    """How a removed pack leaves; ``note`` stays when it is null."""

    __pydantic_config__ = NOTHING_ELSE

    version: Version
    way: Way
    note: Words | None = None


_RECORD = TypeAdapter(RemovedPack)
_PAGE = TypeAdapter(RemovedPage)
_ASIDE = TypeAdapter(SettingAside)
_HAND_OVER = TypeAdapter(PackHandOver)


async def show_removed(request: web.Request) -> web.Response:
    """Answer with a part of the register."""
    query = query_of(request, RemovedQuery)
    found = await removed.list_removed(
        request.app[SERVICES],
        state=query.state,
        before=goes_on_at(LIST, query.cursor),
        limit=query.limit + 1,
    )
    some, cursor = part_of(LIST, found, query.limit)
    page = RemovedPage(removed=[_record(one) for one in some], next=cursor)
    return reply(_PAGE, page)


async def show_removed_pack(request: web.Request) -> web.Response:
    """Answer with one record."""
    return await _answer(request, _number(request))


async def set_pack_aside(request: web.Request) -> web.Response:
    """Say where a removed pack lies."""
    asked = await read_model(request, _ASIDE, BODY_BYTES)
    number = _number(request)
    await removed.set_aside(
        request.app[SERVICES],
        number,
        asked.version,
        request[OPERATOR],
        place=asked.place,
        swollen=asked.swollen,
        note=asked.note,
    )
    return await _answer(request, number)


async def hand_pack_over(request: web.Request) -> web.Response:
    """Say how a removed pack left."""
    asked = await read_model(request, _HAND_OVER, BODY_BYTES)
    number = _number(request)
    await removed.hand_over(
        request.app[SERVICES],
        number,
        asked.version,
        request[OPERATOR],
        way=asked.way,
        note=asked.note,
    )
    return await _answer(request, number)


def _number(request: web.Request) -> int:
    return number_in(request, "record_id", "removed pack")


async def _answer(request: web.Request, number: int) -> web.Response:
    found = await removed.find_removed(request.app[SERVICES], number)
    return reply(_RECORD, _record(found))


def _record(row: Row) -> RemovedPack:
    cautions = STOP_USE_CAUTIONS if row.swollen else ()
    known = taken(RemovedPack, row, without=("cautions",))
    return RemovedPack(cautions=cautions, **known)
