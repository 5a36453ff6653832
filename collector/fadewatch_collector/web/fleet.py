"""The fleet as a whole: where the packs stand, what is coming, and what stands out."""

from datetime import date

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.compared_words import group_name, group_sentences
from fadewatch_collector.rules.fleet_outlook import ExpectedMonth
from fadewatch_collector.rules.fleet_shares import DIMENSIONS, folded
from fadewatch_collector.rules.held import THRESHOLD_NAMES
from fadewatch_collector.usecases.fleet_view import (
    FleetView,
    fleet_view,
    packs_of_group,
)
from fadewatch_collector.usecases.policies import fleet_policy
from fadewatch_collector.web.bar_plot import NARROW, WIDE, month_bars, share_pieces
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.fleet_words import held_story, months_story, ranged
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page

FLEET = "/fleet"
PACKS = FLEET + "/packs"

MOST_ROWS = 12
"""Sites or types in a table [count]; the rest is one row, and whole in the CSV. Own
choice: what fits on a screen."""

MOST_FAST = 8
"""Fast types and batches told in full [count]; all are in the table. Own choice."""

MOST_PACKS = 200
"""Packs of a type on its page [count]; the rest is in the CSV. Own choice."""

KEY_LENGTH = 400
"""Longest key of a type [characters]. Own choice."""

SHARE_BAR_WIDTH = 240.0
"""Width of a bar of shares [unit]."""

_HEADS = {"site": "By site", "age": "By age", "type": "By pack type"}
_OTHERS = {"site": "other sites", "age": "other ages", "type": "other types"}


async def show_fleet(request: web.Request) -> web.Response:
    """Show the fleet view."""
    services = request.app[SERVICES]
    shown = await fleet_view(services)
    return page(
        request,
        "fleet.html",
        shown=shown,
        **await first_start(request, nothing_shown=not shown.whole.packs),
        policy=await fleet_policy(services),
        heads=_HEADS,
        folded={
            name: folded(shown.shares[name], MOST_ROWS, _OTHERS[name])
            for name in DIMENSIONS
        },
        coming={name: _coming(shown, name) for name in ("type", "site")},
        drawings={
            name: [
                (kind, month_bars(shown.expected(name), frame))
                for kind, frame in (("wide", WIDE), ("narrow", NARROW))
            ]
            for name in THRESHOLD_NAMES
        },
        month_rows=_month_rows(shown),
        pieces=lambda share: share_pieces(share, SHARE_BAR_WIDTH),
        bar_width=SHARE_BAR_WIDTH,
        thresholds=THRESHOLD_NAMES,
        most_fast=MOST_FAST,
        held={
            name: [row for row in shown.held if row.threshold == name]
            for name in THRESHOLD_NAMES
        },
        held_story=held_story,
        months_story=months_story,
        ranged=ranged,
        group_name=group_name,
        group_sentences=group_sentences,
    )


def _month_rows(
    shown: FleetView,
) -> list[tuple[date, list[ExpectedMonth | None]]]:
    """Return each month with what is expected of each threshold, if anything."""
    told = {(one.threshold, one.month): one for one in shown.months}
    return [
        (month, [told.get((name, month)) for name in THRESHOLD_NAMES])
        for month in sorted({one.month for one in shown.months})
    ]


def _coming(shown: FleetView, dimension: str) -> dict[str, object]:
    """Return what sites or types come to, as many as a table shows, and how many more."""
    found = [group for group in shown.groups if group.dimension == dimension]
    return {"rows": found[:MOST_ROWS], "more": max(0, len(found) - MOST_ROWS)}


async def show_packs(request: web.Request) -> web.Response:
    """Show the packs of one type, or of one batch of it, with their laptops."""
    key, made = request.query.get("type", ""), request.query.get("made") or None
    if not key or len(key) > KEY_LENGTH:
        raise InvalidRequest("say which pack type: follow a link of the fleet page")
    services = request.app[SERVICES]
    found = await packs_of_group(services, key, made, MOST_PACKS + 1)
    shown = await fleet_view(services)
    known = [group for group in shown.types if group.key == key and group.made == made]
    return page(
        request,
        "fleet_packs.html",
        packs=found[:MOST_PACKS],
        more=len(found) > MOST_PACKS,
        most=MOST_PACKS,
        made=made,
        group=known[0] if known else None,
        name=group_name(known[0]) if known else key.split("|")[1],
        sentences=group_sentences(known[0]) if known else [],
    )
