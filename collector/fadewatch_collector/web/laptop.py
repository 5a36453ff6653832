"""One laptop: its packs now and before, what is in it, and what happened to it."""

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.usecases import inspections
from fadewatch_collector.usecases.bench_check import bench_check_of
from fadewatch_collector.usecases.page_views import LaptopPage, laptop_page_of
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
)
from fadewatch_collector.web.alert_list import collector_url
from fadewatch_collector.web.history import events_of
from fadewatch_collector.web.inspect import INSPECT_PREFIX, answer_of
from fadewatch_collector.web.inventory import drive_lines, slot_lines
from fadewatch_collector.web.issue_filter import years_of
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in
from fadewatch_collector.web.panels import panels_of
from fadewatch_collector.web.render import page
from fadewatch_collector.web.swap_lines import swap_lines
from fadewatch_common.bench.verdict import VERDICT_WORDS
from fadewatch_common.cautions import IF_A_SIGN_IS_SEEN

LAPTOP = "/laptops/{laptop_id}"


async def show_laptop(request: web.Request) -> web.Response:
    """Show one laptop."""
    return await _show(request, number_in(request, "laptop_id", "laptop"))


async def _show(
    request: web.Request, number: int, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    services = request.app[SERVICES]
    shown = await laptop_page_of(services, number)
    years = years_of(request)
    checked = await bench_check_of(services, number, years)
    view = shown.view
    asked = request.query.get("alert")
    followed = next((one for one in view.alerts if str(one.id) == asked), None)
    panels = panels_of(shown, services.clock().date(), followed)
    return page(
        request,
        "laptop.html",
        status=problem.status,
        laptop=view.laptop,
        panels_now=[panel for panel in panels if panel.stay.until_at is None],
        panels_before=[panel for panel in panels if panel.stay.until_at is not None],
        waiting=[alert for alert in view.alerts if alert.state != "ended"],
        memory_slots=slot_lines(view.laptop.memory),
        drives=drive_lines(view.laptop.drives),
        swaps=swap_lines(shown.swaps, view.alerts),
        bench=checked.check,
        verdict_words=VERDICT_WORDS,
        if_seen=IF_A_SIGN_IS_SEEN,
        years="" if years is None else f"{years:g}",
        inspections=shown.inspections,
        packs=_names(shown),
        planned=shown.planned,
        today=services.clock().date(),
        events=events_of(shown),
        problem=problem,
    )


def _names(shown: LaptopPage) -> dict[int, str]:
    return {stay.pack_id: stay.slot for stay in shown.view.packs}


async def inspect_laptop(request: web.Request) -> web.Response:
    """Keep a technician's inspection."""
    number = number_in(request, "laptop_id", "laptop")
    act = await read_act(request, "technician", "record inspections")
    try:
        signs, note = answer_of(act.form)
        await inspections.inspect(
            request.app[SERVICES], number, act.operator, signs=signs, note=note
        )
    except InvalidRequest as error:
        return await _show(request, number, refused("inspect", error, act.form))
    return go_to(f"/laptops/{number}?done=inspected" + ("" if signs else "#inspect"))


async def ask_holder(request: web.Request) -> web.Response:
    """Make a link for the laptop's holder and show it, this one time."""
    number = number_in(request, "laptop_id", "laptop")
    act = await read_act(request, "technician", "ask the holder")
    services = request.app[SERVICES]
    token = await inspections.ask_holder(services, number, act.operator)
    return page(
        request,
        "ask.html",
        number=number,
        link=f"{collector_url(request).rstrip('/')}{INSPECT_PREFIX}{token}",
        until=services.clock() + inspections.LINK_LIFETIME,
    )
