"""The register of removed packs: where they lie, and how they leave."""

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import get_args

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.rules.paging import number_cursor, number_key
from fadewatch_collector.store.removed import RemovedPack, RemovedState
from fadewatch_collector.usecases import removed
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Act,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.alert_list import address
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in, number_of
from fadewatch_collector.web.render import page

REMOVED = "/removed"
RECORD = REMOVED + "/{record_id}"

STATES: tuple[RemovedState, ...] = get_args(RemovedState)
ROWS = 40
"""Records on a page [count]. Own choice."""

_SWOLLEN = {"yes": True, "no": False, "": None}
_MAY = "see or change the register of removed packs"


@dataclass(frozen=True, slots=True)
class Problem:
    """The record whose form was refused, and why."""

    record: int
    refused: Refused


NO_PROBLEM = Problem(0, NOTHING_REFUSED)


async def show_removed(request: web.Request) -> web.Response:
    """Show the register, newest record first."""
    require(request, "technician", _MAY)
    state = _state(request.query.get("state"))
    return await _show(request, state, request.query.get("after") or None)


async def _show(
    request: web.Request,
    state: RemovedState | None,
    cursor: str | None = None,
    problem: Problem = NO_PROBLEM,
) -> web.Response:
    before = None if cursor is None else number_key("r", cursor)
    services = request.app[SERVICES]
    if problem is not NO_PROBLEM:
        # The record with the problem stands first, wherever it is in the list.
        before = problem.record + 1
    found = await removed.list_removed(
        services, state=state, before=before, limit=ROWS + 1
    )
    shown = found[:ROWS]
    after = number_cursor("r", shown[-1].id) if len(found) > ROWS else None
    return page(
        request,
        "removed.html",
        status=problem.refused.status,
        records=shown,
        **await first_start(request, nothing_shown=not shown),
        states=STATES,
        state=state,
        problem=problem,
        ways_of=ways_of,
        is_first_page=before is None,
        first_page=address(REMOVED, {"state": state}),
        next_page=after and address(REMOVED, {"state": state, "after": after}),
    )


def ways_of(record: RemovedPack) -> Sequence[str]:
    """Return the ways on which a pack may leave."""
    if record.swollen is False:
        return removed.WAYS
    return [way for way in removed.WAYS if way not in removed.NOT_FOR_SWOLLEN]


async def set_aside(request: web.Request) -> web.Response:
    """Keep where a removed pack lies."""

    async def do(number: int, version: int, act: Act) -> None:
        await removed.set_aside(
            request.app[SERVICES],
            number,
            version,
            act.operator,
            place=act.form.get("place", ""),
            swollen=_swollen(act.form.get("swollen", "")),
            note=act.form.get("note", "").strip() or None,
        )

    return await _act(request, "set-aside", "set-aside", do)


async def hand_over(request: web.Request) -> web.Response:
    """Keep how a removed pack left."""

    async def do(number: int, version: int, act: Act) -> None:
        await removed.hand_over(
            request.app[SERVICES],
            number,
            version,
            act.operator,
            way=act.form.get("way", ""),
            note=act.form.get("note", "").strip() or None,
        )

    return await _act(request, "hand-over", "pack-handed-over", do)


async def _act(
    request: web.Request,
    name: str,
    done: str,
    do: Callable[[int, int, Act], Awaitable[None]],
) -> web.Response:
    number = number_in(request, "record_id", "removed pack")
    act = await read_act(request, "technician", _MAY)
    state = _state(act.form.get("state"))
    try:
        await do(number, number_of(act.form, "version"), act)
    except (InvalidRequest, Conflict, NotFound) as error:
        problem = Problem(number, refused(name, error, act.form))
        # Shown whatever its state is by now: somebody may have changed it.
        return await _show(request, None, problem=problem)
    path = address(REMOVED, {"state": state, "done": done})
    return go_to(f"{path}#record-{number}")


def _swollen(text: str) -> bool | None:
    if text not in _SWOLLEN:
        raise InvalidRequest("say whether the pack is swollen")
    return _SWOLLEN[text]


def _state(text: str | None) -> RemovedState | None:
    if not text:
        return None
    for state in STATES:
        if state == text:
            return state
    raise InvalidRequest("there is no such state in the register of removed packs")
