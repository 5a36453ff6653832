"""The life of one pack: where it was, how it wore, and what people did with it."""

from collections.abc import Iterator
from datetime import date

from aiohttp import web

from fadewatch_collector.usecases.page_views import PackPage, pack_page_of
from fadewatch_collector.web import happenings
from fadewatch_collector.web.charging import charging_panel
from fadewatch_collector.web.history import (
    Event,
    acts,
    alert_events,
    newest_first,
)
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in
from fadewatch_collector.web.pack_plot import newest_wear, pack_plot
from fadewatch_collector.web.panels import band_of
from fadewatch_collector.web.render import page
from fadewatch_collector.web.swap_lines import swap_lines
from fadewatch_collector.web.trail import swollen

PACK = "/packs/{pack_id}"


async def show_pack(request: web.Request) -> web.Response:
    """Show one pack."""
    services = request.app[SERVICES]
    shown = await pack_page_of(services, number_in(request, "pack_id", "pack"))
    view, course = shown.view, shown.course
    assessed = view.pack.assessment
    newest = newest_wear(course.level)
    is_in_use = any(place.until_at is None for place in view.places)
    ends = [place.until_at.date() for place in view.places if place.until_at]
    last_seen = max(view.pack.last_seen_at.date(), *ends, date.min)
    return page(
        request,
        "pack.html",
        pack=view.pack,
        wear=newest if assessed is None else assessed.wear,
        band=band_of(newest, shown.policy) if assessed is None else assessed.band,
        assessment=assessed,
        plot=pack_plot(
            course,
            shown.policy,
            [
                *happenings.assessed(assessed),
                *happenings.of_swaps(view.pack.id, view.swaps),
                *happenings.of_inspections(view.inspections),
            ],
            until=services.clock().date() if is_in_use else last_seen,
            is_in_use=is_in_use,
        ),
        is_in_use=is_in_use,
        charging=charging_panel(shown.charging) if is_in_use else None,
        places=view.places,
        alerts=view.alerts,
        swaps=swap_lines(view.swaps, view.alerts),
        inspections=view.inspections,
        removal=shown.removal,
        swollen=swollen,
        events=newest_first(list(_events(shown))),
    )


def _events(shown: PackPage) -> Iterator[Event]:
    view = shown.view
    for place in view.places:
        where = place.hostname or f"laptop {place.laptop_id}"
        sort = f"Slot {place.slot}"
        yield Event(place.from_at, sort, f"First seen in {where}")
        if place.until_at is not None:
            yield Event(place.until_at, sort, f"Gone from {where}")
    yield from alert_events(view.alerts)
    yield from acts(view.trail)
