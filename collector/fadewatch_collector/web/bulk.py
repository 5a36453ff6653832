"""Acknowledge, plan or hand over several alerts from the list at once."""

import re
from collections.abc import Mapping
from http import HTTPStatus

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.usecases import alert_actions
from fadewatch_collector.usecases.bulk_actions import MOST, Outcome, act_on_each
from fadewatch_collector.web.acting import Act, Refused, go_to, read_act, refused
from fadewatch_collector.web.alert import day_of
from fadewatch_collector.web.alert_list import FILTERS, address, show_list
from fadewatch_collector.web.keys import SERVICES

BULK = "/alerts/several"

_CHOSEN = re.compile(r"alert-([0-9]{1,18})", re.ASCII)
_VERSION = re.compile(r"[0-9]{1,9}", re.ASCII)
_OTHER_FIELDS = 20
_FORM_BYTES = 64 * 1024

_DONE = {
    "acknowledge": "several-acknowledged",
    "plan": "several-planned",
    "hand-over": "several-handed-over",
}


async def act_on_several(request: web.Request) -> web.Response:
    """Do to each chosen alert what the pressed button says, and show the list again."""
    act = await read_act(
        request,
        "technician",
        "change alerts: a technician or an administrator can",
        most_bytes=_FORM_BYTES,
        most_fields=MOST + _OTHER_FIELDS,
    )
    chosen = {name: act.form.get(name) or None for name in FILTERS}
    cursor = act.form.get("after") or None
    try:
        outcome = await _do(request, act)
    except (InvalidRequest, NotFound) as error:
        problem = refused("several", error, act.form)
        return await show_list(request, chosen, cursor, problem)
    if outcome.refused:
        return await show_list(request, chosen, cursor, _told(outcome, act))
    done = _DONE[act.form["do"]]
    return go_to(address("/", {**chosen, "after": cursor, "done": done}))


async def _do(request: web.Request, act: Act) -> Outcome:
    services, operator, form = request.app[SERVICES], act.operator, act.form
    chosen = _chosen(form)
    match form.get("do"):
        case "acknowledge":
            return await act_on_each(
                chosen,
                lambda number, version: alert_actions.acknowledge(
                    services, number, version, operator
                ),
            )
        case "plan":
            on = day_of(form, "on")
            return await act_on_each(
                chosen,
                lambda number, version: alert_actions.plan(
                    services, number, version, operator, on
                ),
            )
        case "hand-over":
            to = await alert_actions.operator_named(services, form.get("to", ""))
            return await act_on_each(
                chosen,
                lambda number, version: alert_actions.hand_over(
                    services, number, version, operator, to
                ),
            )
        case _:
            raise InvalidRequest("press one of the buttons below the list")


def _chosen(form: Mapping[str, str]) -> dict[int, int]:
    found: dict[int, int] = {}
    for name, value in form.items():
        if match := _CHOSEN.fullmatch(name):
            if not _VERSION.fullmatch(value):
                raise InvalidRequest("the form names an alert without its version")
            found[int(match[1])] = int(value)
    return found


def _told(outcome: Outcome, act: Act) -> Refused:
    refusals = "; ".join(f"alert {number}: {why}" for number, why in outcome.refused)
    why = f"{outcome.done} done, {len(outcome.refused)} not: {refusals}."
    return Refused("several", why, HTTPStatus.CONFLICT, act.form)
