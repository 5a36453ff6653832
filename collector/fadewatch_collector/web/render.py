"""Turn templates into answers."""

from datetime import UTC, date, datetime
from functools import cache
from typing import Any

from aiohttp import web
from jinja2 import Environment, PackageLoader, StrictUndefined

from fadewatch_collector.rules.alert_terms import URGENCIES
from fadewatch_collector.rules.cautions import (
    FIGURES_ARE_A_PROXY,
    ON_A_ROUND_CAUTION,
    STOP_USE_CAUTIONS,
)
from fadewatch_collector.rules.operators import at_least
from fadewatch_collector.rules.signs import SIGNS
from fadewatch_collector.web import words
from fadewatch_collector.web.forms import TOKEN_FIELD
from fadewatch_collector.web.keys import OPERATOR, SERVICES, SESSION, SIGNING, TEMPLATES
from fadewatch_collector.web.said import SAID
from fadewatch_collector.web.static import StaticFiles
from fadewatch_collector.web.times import ago, days_ago

ABOUT_LAPTOP = 2
"""The first cautions are about the laptop that a pack is in [count]."""

_TURNING = dict.fromkeys((*range(0x2028, 0x202F), *range(0x2066, 0x206A)), "\ufffd")
"""Ends of lines and paragraphs, embeddings, overrides and isolates (Unicode Standard
Annex 9): of no use in names, and able to make one pack look like another."""

LOOSE_PACK_CAUTIONS = (
    "Do not charge it, and fit it nowhere again.",
    *STOP_USE_CAUTIONS[ABOUT_LAPTOP:],
)
"""Cautions for a swollen pack that was taken out."""


@cache
def make_templates(static: StaticFiles) -> Environment:
    """Make the template environment: everything is escaped, nothing may be missing."""
    templates = Environment(
        loader=PackageLoader("fadewatch_collector.web"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_unturned,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    templates.globals.update(
        static=static.path_of,
        words=words,
        urgencies=URGENCIES,
        cautions=STOP_USE_CAUTIONS,
        loose_cautions=LOOSE_PACK_CAUTIONS,
        signs=SIGNS,
        round_caution=ON_A_ROUND_CAUTION,
        proxy_note=FIGURES_ARE_A_PROXY,
        token_field=TOKEN_FIELD,
    )
    templates.filters.update(
        ago=ago,
        days_ago=days_ago,
        day=_day,
        stamp=_stamp,
        percent=words.percent,
        memory_size=words.memory_size,
        storage_size=words.storage_size,
    )
    return templates


def _unturned(value: Any) -> Any:
    """Show what would turn round the reading direction of the words beside it."""
    if not isinstance(value, str) or value.isascii():
        return value
    # Of what was escaped already the same kind comes back.
    return value.translate(_TURNING)


def page(
    request: web.Request,
    template: str,
    *,
    status: int = 200,
    bound_to: str | None = None,
    **context: Any,
) -> web.Response:
    """Answer with a page.

    Parameters
    ----------
    bound_to
        What the page's forms are bound to where there is no session.
    context
        What the template shows.
    """
    signing = request.app[SIGNING]
    bound_to = request.get(SESSION, bound_to)
    operator = request.get(OPERATOR)
    body = (
        request.app[TEMPLATES]
        .get_template(template)
        .render(
            operator=operator,
            may_act=operator is not None and at_least(operator.role, "technician"),
            may_set_up=operator is not None
            and at_least(operator.role, "administrator"),
            said=SAID.get(request.query.get("done", "")),
            form_token=signing.form_token(bound_to) if bound_to else None,
            here=request.path,
            typed=request.query.get("find", "") if request.path == "/laptops" else "",
            now=request.app[SERVICES].clock(),
            **context,
        )
    )
    return web.Response(text=body, content_type="text/html", status=status)


def _day(moment: datetime | date) -> str:
    if isinstance(moment, datetime):
        moment = moment.astimezone(UTC).date()
    return moment.isoformat()


def _stamp(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
