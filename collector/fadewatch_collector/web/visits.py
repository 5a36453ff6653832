"""Visits: what is due, by site, and rounds planned at a site."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from aiohttp import web

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.rules.paging import number_cursor, number_key
from fadewatch_collector.rules.visit_terms import (
    DEFAULT_HORIZON,
    HORIZONS,
    VisitState,
    work_in_words,
)
from fadewatch_collector.usecases import visits
from fadewatch_collector.usecases.visit_lists import (
    LIST_ROWS,
    DueEntry,
    DueList,
    SiteCount,
    Wanted,
    due_list,
    list_visits,
    site_names,
)
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
)
from fadewatch_collector.web.alert_list import address, site_of
from fadewatch_collector.web.days import days_of
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page
from fadewatch_collector.web.visit_forms import plan_of

VISITS = "/visits"
ROUND = VISITS + "/round"
SHEETS = VISITS + "/sheets"

WANTED: dict[str, Wanted] = {"": "due", "open": "not planned", "planned": "planned"}
OVER: dict[str, VisitState] = {"done": "done", "called-off": "called off"}
STATE_NAMES = {
    "": "due or planned",
    "open": "due, not planned",
    "planned": "planned",
    "done": "done",
    "called-off": "called off",
}

MAY = "plan visits or mark them done: a technician or an administrator can"


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the address asks for."""

    site: str | None
    within_days: int
    state: str

    def address(self, path: str = VISITS, **more: str | None) -> str:
        """Return the address of a page with the same choice."""
        within = str(self.within_days)
        return address(
            path,
            {
                "site": self.site,
                "within": None if self.within_days == DEFAULT_HORIZON else within,
                "state": self.state,
                **more,
            },
        )

    def with_site(self, site: str) -> "Chosen":
        """Return the same choice at one site."""
        return replace(self, site=site)


@dataclass(frozen=True, slots=True)
class Group:
    """Laptops of the page at one site, or those to stop using.

    Attributes
    ----------
    count
        How many there are at the site in all; None for those to stop using.
    """

    stop_use: bool
    site: str | None
    entries: Sequence[DueEntry]
    count: SiteCount | None


def chosen_of(request: web.Request) -> Chosen:
    """Return what an address asks for.

    Raises
    ------
    InvalidRequest
        There is no such state, or the number of days is none.
    """
    state = request.query.get("state", "")
    if state not in STATE_NAMES:
        raise InvalidRequest("there is no such state in the list of visits")
    return Chosen(
        site=site_of(request.query.get("site")),
        within_days=days_of(request.query.get("within", "")),
        state=state,
    )


async def show_visits(request: web.Request) -> web.Response:
    """Show what is due, or the visits that are over."""
    chosen = chosen_of(request)
    if chosen.state in OVER:
        return await _show_over(request, chosen, OVER[chosen.state])
    return await _show_due(request, chosen)


async def _show_due(
    request: web.Request, chosen: Chosen, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    cursor = request.query.get("after") or None
    services = request.app[SERVICES]
    shown = await due_list(
        services,
        within_days=chosen.within_days,
        wanted=WANTED[chosen.state],
        site=chosen.site,
        cursor=cursor,
    )
    return page(
        request,
        "visits.html",
        status=problem.status,
        shown=shown,
        groups=list(_groups(shown)),
        **await first_start(request, nothing_shown=not shown.entries),
        chosen=chosen,
        sites=shown.sites,
        states=STATE_NAMES,
        horizons=sorted({*HORIZONS, chosen.within_days}),
        problem=problem,
        today=services.clock().date(),
        is_first_page=cursor is None,
        first_page=chosen.address(),
        next_page=shown.next_cursor and chosen.address(after=shown.next_cursor),
        sheets=lambda **more: chosen.address(SHEETS, **more),
    )


def _groups(shown: DueList) -> Iterator[Group]:
    counts = {count.site: count for count in shown.counts}

    def place(entry: DueEntry) -> tuple[bool, str | None]:
        stop = entry.sheet.stop_use
        return stop, None if stop else entry.sheet.laptop.site

    for (stop, site), entries in groupby(shown.entries, place):
        yield Group(stop, site, list(entries), None if stop else counts.get(site))


async def _show_over(
    request: web.Request, chosen: Chosen, state: VisitState
) -> web.Response:
    cursor = request.query.get("after") or None
    services = request.app[SERVICES]
    found = await list_visits(
        services,
        states=(state,),
        site=chosen.site,
        before=None if cursor is None else number_key("v", cursor),
        limit=LIST_ROWS + 1,
    )
    shown = found[:LIST_ROWS]
    after = number_cursor("v", shown[-1].id) if len(found) > LIST_ROWS else None
    return page(
        request,
        "visits_over.html",
        visits=shown,
        work_words=work_in_words,
        chosen=chosen,
        sites=await site_names(services),
        states=STATE_NAMES,
        horizons=sorted({*HORIZONS, chosen.within_days}),
        is_first_page=cursor is None,
        first_page=chosen.address(),
        next_page=after and chosen.address(after=after),
    )


async def plan_round(request: web.Request) -> web.Response:
    """Plan one day for everything due at a site."""
    act = await read_act(request, "technician", MAY)
    site = site_of(act.form.get("site"))
    chosen = Chosen(site, days_of(act.form.get("within", "")), "")
    try:
        made = await visits.plan_round(
            request.app[SERVICES],
            site,
            chosen.within_days,
            plan_of(act.form),
            act.operator,
        )
    except (InvalidRequest, Conflict, NotFound) as error:
        return await _show_due(request, chosen, refused("round", error, act.form))
    done = "round-part" if made.more else "round"
    return go_to(chosen.address(done=done))
