"""Visit sheets: to print many, or one with what to do about its visit."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import urlsplit

from aiohttp import web
from markupsafe import Markup

from fadewatch_collector.errors import Conflict, InvalidRequest, NotFound
from fadewatch_collector.rules.visit_terms import WORK_WORDS
from fadewatch_collector.rules.visits import VisitSheet
from fadewatch_collector.usecases import visit_outcomes, visits
from fadewatch_collector.usecases.visit_lists import (
    SHEETS_AT_ONCE,
    DueEntry,
    due_list,
    one_sheet,
)
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Act,
    Refused,
    go_to,
    read_act,
    refused,
)
from fadewatch_collector.web.alert_list import collector_url
from fadewatch_collector.web.days import days_of
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_in, number_of
from fadewatch_collector.web.render import page
from fadewatch_collector.web.visit_code import code_svg
from fadewatch_collector.web.visit_forms import plan_of, work_of
from fadewatch_collector.web.visits import MAY, SHEETS, WANTED, chosen_of

SHEET = "/laptops/{laptop_id}/sheet"

LINE = 100
"""Characters on a line of a sheet [count]."""

ROOMY_LINES, FULL_LINES = 31, 38
"""Lines that fit in print of the usual and the smaller size [count].

Tried on A4 and Letter; a browser test prints the fullest sheet there can be.
"""

Do = Callable[[web.Request, Act], Awaitable[None]]


@dataclass(frozen=True, slots=True)
class Printed:
    """A sheet with the address of its laptop's page, and the code for it."""

    entry: DueEntry
    base: str
    address: str
    code: Markup

    @property
    def print_size(self) -> str:
        """Name the size of print with which it stays on one page."""
        planned = self.entry.planned
        note = planned.note if planned and planned.note else ""
        lines = lines_of(self.entry.sheet) + min(2, _lines(note, LINE))
        if lines <= ROOMY_LINES:
            return "roomy"
        return "full" if lines <= FULL_LINES else "packed"


def lines_of(sheet: VisitSheet) -> int:
    """Estimate how many lines the parts of a sheet take that differ in length."""
    texts = [" ".join((m.head, *m.why)) for m in sheet.matters]
    steps = [*sheet.first, *sheet.steps, *sheet.checks]
    fitted = [*sheet.memory.fitted, *sheet.drives.fitted]
    fitted += [sheet.memory.remark or "", sheet.drives.remark or ""]
    return (
        sum(_lines(text, LINE) for text in texts)
        + sum(_lines(text, LINE // 2) for text in sheet.bring)
        + _lines("; ".join(fitted), LINE // 2)
        + sum(_lines(step.text, LINE) + len(step.blanks[:1]) for step in steps)
        + len(sheet.laptop.packs)
    )


def _lines(text: str, characters: int) -> int:
    return -(-len(text) // characters)


def printed(request: web.Request, entry: DueEntry) -> Printed:
    """Return a sheet as it is printed."""
    base = collector_url(request).rstrip("/")
    where = f"{base}/laptops/{entry.sheet.laptop.id}"
    return Printed(entry, base, where, code_svg(where))


async def show_sheets(request: web.Request) -> web.Response:
    """Show the sheets of laptops that are due, each on a page of its own."""
    chosen = chosen_of(request)
    if chosen.state not in WANTED:
        raise InvalidRequest("sheets are for what is due or planned")
    shown = await due_list(
        request.app[SERVICES],
        within_days=chosen.within_days,
        wanted=WANTED[chosen.state],
        site=chosen.site,
        cursor=request.query.get("after") or None,
        limit=SHEETS_AT_ONCE,
        is_counted=False,
    )
    return page(
        request,
        "sheets.html",
        sheets=[printed(request, entry) for entry in shown.entries],
        **await first_start(request, nothing_shown=not shown.entries),
        chosen=chosen,
        most=SHEETS_AT_ONCE,
        next_page=shown.next_cursor and chosen.address(SHEETS, after=shown.next_cursor),
        is_local=is_local(collector_url(request)),
    )


async def show_sheet(request: web.Request) -> web.Response:
    """Show one laptop's sheet, and the forms of its visit."""
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    number = number_in(request, "laptop_id", "laptop")
    services = request.app[SERVICES]
    entry, operators = await one_sheet(
        services, number, days_of(request.query.get("within", ""))
    )
    return page(
        request,
        "sheet.html",
        status=problem.status,
        sheet=printed(request, entry),
        entry=entry,
        operators=operators,
        work_words=WORK_WORDS,
        problem=problem,
        today=services.clock().date(),
        is_local=is_local(collector_url(request)),
    )


def is_local(address: str) -> bool:
    """Say whether an address leads a phone to itself instead of to the collector."""
    host = urlsplit(address).hostname or ""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@dataclass(frozen=True, slots=True)
class VisitAct:
    """Something that a form does about a laptop's visit.

    Attributes
    ----------
    done
        What the page says afterwards, by its name in :mod:`said`.
    """

    name: str
    done: str
    do: Do

    async def __call__(self, request: web.Request) -> web.Response:
        """Do it, and show the sheet again: with the problem if there was one."""
        number = number_in(request, "laptop_id", "laptop")
        act = await read_act(request, "technician", MAY)
        try:
            await self.do(request, act)
        except (InvalidRequest, Conflict, NotFound) as error:
            return await _show(request, refused(self.name, error, act.form))
        return go_to(f"/laptops/{number}/sheet?done={self.done}")


async def _plan(request: web.Request, act: Act) -> None:
    services, plan = request.app[SERVICES], plan_of(act.form)
    if act.form.get("visit"):
        visit, version = number_of(act.form, "visit"), number_of(act.form, "version")
        await visits.move_visit(services, visit, version, plan, act.operator)
        return
    number = number_in(request, "laptop_id", "laptop")
    await visits.plan_visits(services, [number], plan, act.operator)


async def _finish(request: web.Request, act: Act) -> None:
    services, work = request.app[SERVICES], work_of(act.form)
    found = act.form.get("found", "")
    if act.form.get("visit"):
        visit, version = number_of(act.form, "visit"), number_of(act.form, "version")
        await visit_outcomes.finish_visit(
            services, visit, version, act.operator, work=work, found=found
        )
        return
    number = number_in(request, "laptop_id", "laptop")
    await visit_outcomes.record_visit(
        services, number, act.operator, work=work, found=found
    )


async def _call_off(request: web.Request, act: Act) -> None:
    await visit_outcomes.call_off_visit(
        request.app[SERVICES],
        number_of(act.form, "visit"),
        number_of(act.form, "version"),
        act.operator,
        act.form.get("because", ""),
    )


VISIT_ACTS = (
    VisitAct("plan-visit", "visit-planned", _plan),
    VisitAct("finish-visit", "visit-done", _finish),
    VisitAct("call-off-visit", "visit-called-off", _call_off),
)
