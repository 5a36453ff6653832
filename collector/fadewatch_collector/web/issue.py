"""Which laptops may be issued."""

from aiohttp import web

from fadewatch_collector.usecases.bench_check import check_list
from fadewatch_collector.web.alert_list import address, collector_url
from fadewatch_collector.web.issue_filter import issue_filter
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page
from fadewatch_common.bench.verdict import VERDICT_WORDS, VERDICTS

ISSUE = "/issue"


async def show_issue(request: web.Request) -> web.Response:
    """Show laptops with their verdicts, a page at a time."""
    wanted = issue_filter(request)
    cursor = request.query.get("after") or None
    shown = await check_list(request.app[SERVICES], wanted, cursor)
    years = None if wanted.service_years is None else f"{wanted.service_years:g}"
    chosen = {"site": wanted.site, "verdict": wanted.verdict, "years": years}
    return page(
        request,
        "issue.html",
        shown=shown,
        chosen=chosen,
        is_filtered=any(chosen.values()),
        verdicts=VERDICTS,
        verdict_words=VERDICT_WORDS,
        csv=address("/exports/issue.csv", chosen),
        is_first_page=cursor is None,
        first_page=address(ISSUE, chosen),
        next_page=shown.next_cursor
        and address(ISSUE, {**chosen, "after": shown.next_cursor}),
        collector_url=collector_url(request),
    )
