"""One alert: what it says, what was done about it, and the forms to do something."""

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from datetime import date

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.usecases import alert_actions, swaps
from fadewatch_collector.usecases.page_views import (
    AlertPage,
    Evidence,
    SwapDetail,
    alert_page,
)
from fadewatch_collector.web import happenings
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Act,
    Refused,
    go_to,
    read_act,
    refused,
)
from fadewatch_collector.web.figures import figure_rows
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in, number_of
from fadewatch_collector.web.pack_plot import PackPlot, pack_plot
from fadewatch_collector.web.panels import alert_opened
from fadewatch_collector.web.render import page
from fadewatch_collector.web.trail import COLLECTOR, TrailLine, trail_lines

ALERT = "/alerts/{alert_id}"

_YES_NO = {"yes": True, "no": False, "not looked": None}
SWAP_KINDS = ("swap-to-confirm", "wrong-pack")

Do = Callable[[web.Request, int, Act], Awaitable[None]]


async def show_alert(request: web.Request) -> web.Response:
    """Show an alert."""
    return await _show(request, number_in(request, "alert_id", "alert"))


async def _show(
    request: web.Request, number: int, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services = request.app[SERVICES]
    shown = await alert_page(services, number)
    return page(
        request,
        "alert.html",
        status=problem.status,
        alert=shown.alert,
        operators=shown.operators,
        figures=figure_rows(shown.alert.figures_opened, shown.alert.figures_now),
        trail=_trail(shown),
        swap=_swap(shown),
        pack=shown.evidence and shown.evidence.pack,
        plot=shown.evidence and _plot(shown, shown.evidence, services.clock().date()),
        problem=problem,
    )


def _swap(shown: AlertPage) -> SwapDetail | None:
    """Return the newest swap that brought the pack of a swap's alert."""
    if shown.alert.kind not in SWAP_KINDS or shown.evidence is None:
        return None
    brought = (
        swap
        for swap in shown.evidence.swaps
        if swap.new_pack_id == shown.alert.pack_id
        and swap.laptop_id == shown.alert.laptop_id
    )
    return next(brought, None)


def _plot(shown: AlertPage, evidence: Evidence, today: date) -> PackPlot:
    happened = [
        *happenings.assessed(evidence.pack.assessment),
        *happenings.of_swaps(evidence.pack.id, evidence.swaps),
        *happenings.of_inspections(evidence.inspections),
        alert_opened(shown.alert),
    ]
    is_over = shown.alert.state == "ended"
    return pack_plot(
        evidence.course, shown.policy, happened, until=today, is_in_use=not is_over
    )


def _trail(shown: AlertPage) -> list[TrailLine]:
    alert = shown.alert
    lines = trail_lines(shown.trail, named=False)
    lines.append(TrailLine(alert.opened_at, COLLECTOR, "opened"))
    if alert.state == "ended" and alert.ended_by is None:
        at = alert.ended_at or alert.changed_at
        lines.append(TrailLine(at, COLLECTOR, "ended", alert.ended_because))
    return sorted(lines, key=lambda line: line.at, reverse=True)


@dataclass(frozen=True, slots=True)
class Action:
    """Something that a form does with an alert.

    Attributes
    ----------
    what
        What a person who may not do it is told.
    done
        What the page says afterwards, by its name in :mod:`said`.
    """

    name: str
    what: str
    done: str
    do: Do

    async def __call__(self, request: web.Request) -> web.Response:
        """Do it, and show the alert again: with the problem if there was one."""
        number = number_in(request, "alert_id", "alert")
        act = await read_act(request, "technician", self.what)
        try:
            await self.do(request, number, act)
        except (InvalidRequest, Conflict, NotFound) as error:
            return await _show(request, number, refused(self.name, error, act.form))
        return go_to(f"/alerts/{number}?done={self.done}")


async def _acknowledge(request: web.Request, number: int, act: Act) -> None:
    services, version = request.app[SERVICES], number_of(act.form, "version")
    await alert_actions.acknowledge(services, number, version, act.operator)


async def _plan(request: web.Request, number: int, act: Act) -> None:
    services, version = request.app[SERVICES], number_of(act.form, "version")
    on = day_of(act.form, "on")
    await alert_actions.plan(services, number, version, act.operator, on)


async def _hand_over(request: web.Request, number: int, act: Act) -> None:
    services, version = request.app[SERVICES], number_of(act.form, "version")
    to = act.form.get("to", "")
    await alert_actions.hand_over(services, number, version, act.operator, to)


async def _note(request: web.Request, number: int, act: Act) -> None:
    text = act.form.get("text", "")
    await alert_actions.add_note(request.app[SERVICES], number, act.operator, text)


async def _end(request: web.Request, number: int, act: Act) -> None:
    services, version = request.app[SERVICES], number_of(act.form, "version")
    because = act.form.get("because", "")
    await alert_actions.end(services, number, version, act.operator, because)


async def _confirm(request: web.Request, number: int, act: Act) -> None:
    del number
    swap = number_of(act.form, "swap")
    if act.form.get("swollen") not in _YES_NO:
        raise InvalidRequest("say whether the pack that was taken out is swollen")
    swollen = _YES_NO[act.form["swollen"]]
    await swaps.confirm_swap(request.app[SERVICES], swap, act.operator, swollen=swollen)


async def _reject(request: web.Request, number: int, act: Act) -> None:
    del number
    swap = number_of(act.form, "swap")
    await swaps.reject_swap(request.app[SERVICES], swap, act.operator)


_ALERTS = "change alerts: a technician or an administrator can"

ACTIONS = (
    Action("acknowledge", _ALERTS, "acknowledged", _acknowledge),
    Action("plan", _ALERTS, "planned", _plan),
    Action("hand-over", _ALERTS, "handed-over", _hand_over),
    Action("note", _ALERTS, "noted", _note),
    Action("end", _ALERTS, "ended", _end),
    Action("confirm-swap", _ALERTS, "swap-confirmed", _confirm),
    Action("reject-swap", _ALERTS, "swap-rejected", _reject),
)


def day_of(form: Mapping[str, str], name: str) -> date:
    """Return a day from a form.

    Raises
    ------
    InvalidRequest
        It is not one.
    """
    try:
        return date.fromisoformat(form.get(name, "").strip())
    except ValueError as error:
        raise InvalidRequest("choose a day, as in 2026-05-31") from error
