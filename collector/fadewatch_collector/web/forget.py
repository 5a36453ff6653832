"""Forget a laptop or its holder: what would go is shown, then confirmed by typing."""

from collections.abc import Mapping

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest
from fadewatch_collector.usecases import forget
from fadewatch_collector.usecases.forget import Forgotten
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in
from fadewatch_collector.web.render import page

FORGET = "/laptops/{laptop_id}/forget"

_MAY = "forget laptops or holders"


async def show_forget(request: web.Request) -> web.Response:
    """Show what would go."""
    require(request, "administrator", _MAY)
    return await _show(request, number_in(request, "laptop_id", "laptop"))


async def _show(
    request: web.Request, number: int, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services, who = request.app[SERVICES], ""
    name = await forget.laptop_known(services, number)
    would, hindered = None, None
    try:
        would = await forget.forget_laptop(services, number, who, dry_run=True)
    except Conflict as error:
        hindered = str(error)
    holder = None
    if name.holder:
        holder = await forget.forget_holder(services, name.holder, who, dry_run=True)
    return page(
        request,
        "forget.html",
        status=problem.status,
        number=number,
        laptop=name,
        would=would,
        hindered=hindered,
        would_holder=holder,
        problem=problem,
    )


async def forget_laptop(request: web.Request) -> web.Response:
    """Forget a laptop, when its number was typed."""
    number = number_in(request, "laptop_id", "laptop")
    act = await read_act(request, "administrator", _MAY)
    try:
        _check_typed(act.form, str(number))
        told = await forget.forget_laptop(
            request.app[SERVICES], number, act.operator.name, dry_run=False
        )
    except (Conflict, InvalidRequest) as error:
        return await _show(request, number, refused("laptop", error, act.form))
    return _told(request, told, f"Laptop {number}")


async def forget_holder(request: web.Request) -> web.Response:
    """Blank the name of a laptop's holder, when the laptop's number was typed."""
    number = number_in(request, "laptop_id", "laptop")
    act = await read_act(request, "administrator", _MAY)
    services = request.app[SERVICES]
    try:
        _check_typed(act.form, str(number))
        name = await forget.laptop_known(services, number)
        told = await forget.forget_holder(
            services, name.holder or "", act.operator.name, dry_run=False
        )
    except InvalidRequest as error:
        return await _show(request, number, refused("holder", error, act.form))
    return _told(request, told, "The holder")


def _check_typed(form: Mapping[str, str], expected: str) -> None:
    if form.get("typed", "").strip() != expected:
        raise InvalidRequest(
            f"type the laptop's number, {expected}, to confirm: it cannot be undone"
        )


def _told(request: web.Request, told: Forgotten, what: str) -> web.Response:
    # Not a redirect: there may be no page of the laptop any more, and what was done
    # is told this one time.
    return page(request, "forgotten.html", told=told, what=what)
