"""Inspections: what people saw, and asking the laptop's holder to look."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from http import HTTPStatus
from typing import Annotated, Literal

from aiohttp import web
from pydantic import StringConstraints, TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.fields import BODY_BYTES, NOTHING_ELSE, WRITTEN, Number
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.parts import goes_on_at, part_of
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.rules.signs import NOT_A_PROOF, SIGNS
from fadewatch_collector.store.inspections import Inspection as Row
from fadewatch_collector.usecases.inspections import (
    LINK_LIFETIME,
    NOTE_LENGTH,
    ask_holder,
    inspect,
    link_path,
    list_inspections,
)
from fadewatch_common.bounds import AtMost

LIST = "inspections"

Sign = Literal["rocks", "touchpad", "gap", "keyboard", "smell", "heat", "hissing"]
"""The names of :data:`~fadewatch_collector.rules.signs.SIGNS`, for the description."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionQuery:
    """Which inspections, and where the list goes on."""

    __pydantic_config__ = NOTHING_ELSE

    laptop: Number | None = None
    pack: Number | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """A person's answer about physical signs; of a pack, where it was known.

    Attributes
    ----------
    signs
        The signs seen, by name; none is no proof that the pack is free of damage.
    """

    id: int
    laptop_id: int | None
    pack_id: int | None
    at: datetime
    who: str
    signs: Sequence[str]
    note: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionPage:
    """A part of the list of inspections: newest first.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    inspections: Sequence[Inspection]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenSigns:
    """What was seen at a laptop: the signs by name; an empty list is none."""

    __pydantic_config__ = NOTHING_ELSE

    signs: Annotated[tuple[Sign, ...], AtMost(len(SIGNS))]
    note: (
        Annotated[str, StringConstraints(max_length=NOTE_LENGTH, pattern=WRITTEN)]
        | None
    ) = None


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionOutcome:
    """What comes of an inspection.

    Attributes
    ----------
    sign_reported
        A sign was seen, and an alert at `stop-use` stands.
    remark
        What an inspection without a sign does not show.
    cautions
        With a sign: for whoever goes near the laptop.
    """

    sign_reported: bool
    remark: str | None
    cautions: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class HolderLink:
    """A link for the laptop's holder: shown this once, answered once.

    Attributes
    ----------
    path
        Path of the page, on the collector's address.
    """

    path: str
    expires_at: datetime


_PAGE = TypeAdapter(InspectionPage)
_SEEN = TypeAdapter(SeenSigns)
_OUTCOME = TypeAdapter(InspectionOutcome)
_LINK = TypeAdapter(HolderLink)


async def show_inspections(request: web.Request) -> web.Response:
    """Answer with a part of the list of inspections."""
    query = query_of(request, InspectionQuery)
    found = await list_inspections(
        request.app[SERVICES],
        laptop_id=query.laptop,
        pack_id=query.pack,
        before=goes_on_at(LIST, query.cursor),
        limit=query.limit + 1,
    )
    some, cursor = part_of(LIST, found, query.limit)
    page = InspectionPage(
        inspections=[inspection_answer(one) for one in some], next=cursor
    )
    return reply(_PAGE, page)


async def inspect_laptop(request: web.Request) -> web.Response:
    """Keep an inspection."""
    seen = await read_model(request, _SEEN, BODY_BYTES)
    reported = await inspect(
        request.app[SERVICES],
        _laptop(request),
        request[OPERATOR],
        signs=seen.signs,
        note=seen.note,
    )
    outcome = InspectionOutcome(
        sign_reported=reported,
        remark=None if reported else NOT_A_PROOF,
        cautions=STOP_USE_CAUTIONS if reported else (),
    )
    return reply(_OUTCOME, outcome, HTTPStatus.CREATED)


async def make_holder_link(request: web.Request) -> web.Response:
    """Make a link with which the laptop's holder answers."""
    services = request.app[SERVICES]
    expires_at = services.clock() + LINK_LIFETIME
    token = await ask_holder(services, _laptop(request), request[OPERATOR])
    link = HolderLink(path=link_path(token), expires_at=expires_at)
    return reply(_LINK, link, HTTPStatus.CREATED)


def inspection_answer(row: Row) -> Inspection:
    """Word one inspection."""
    return Inspection(**taken(Inspection, row))


def _laptop(request: web.Request) -> int:
    return number_in(request, "laptop_id", "laptop")
