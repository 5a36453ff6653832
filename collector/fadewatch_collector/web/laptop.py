"""One laptop: its packs now and before, what is in it, and what happened to it."""

from aiohttp import web

from fadewatch_collector.errors import NotFound
from fadewatch_collector.usecases.page_views import laptop_page_of
from fadewatch_collector.web.history import events_of
from fadewatch_collector.web.inventory import drive_lines, slot_lines
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.panels import panels_of
from fadewatch_collector.web.render import page

LAPTOP = "/laptops/{laptop_id}"

_MOST_DIGITS = 18
"""Longest number that surely fits the store's 64 bits [digit]."""


async def show_laptop(request: web.Request) -> web.Response:
    """Show one laptop."""
    services = request.app[SERVICES]
    shown = await laptop_page_of(services, _number(request.match_info["laptop_id"]))
    view = shown.view
    panels = panels_of(shown, services.clock().date())
    return page(
        request,
        "laptop.html",
        laptop=view.laptop,
        panels_now=[panel for panel in panels if panel.stay.until_at is None],
        panels_before=[panel for panel in panels if panel.stay.until_at is not None],
        waiting=[alert for alert in view.alerts if alert.state != "ended"],
        memory_slots=slot_lines(view.laptop.memory),
        drives=drive_lines(view.laptop.drives),
        events=events_of(view),
    )


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS):
        raise NotFound("laptop", f"numbered {text[:40]!r}")
    return int(text)
