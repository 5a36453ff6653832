"""Packs that sit near full on mains, and what is worth considering about them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from aiohttp import web

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.charging import ChargingHabit, Span
from fadewatch_collector.rules.charging_words import (
    HABIT_WORDS,
    LIMIT_WORDS,
    NOT_CLOCKED,
    SOURCES,
    in_short,
    share_words,
    trade_off,
)
from fadewatch_collector.usecases.charging import (
    ChargingFilter,
    LimitKnown,
    PackCharging,
    charging_list,
)
from fadewatch_collector.web.alert_list import address, site_of
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.render import page

CHARGING = "/charging"

LIMITS: tuple[LimitKnown, ...] = get_args(LimitKnown)
PACKS = ("advised", "all")
"""What the list shows: packs of which a limit is worth considering, or every pack."""


@dataclass(frozen=True, slots=True)
class SpanRow:
    """One line of the small table on a laptop's and a pack's page."""

    name: str
    readings: str
    on_mains: str
    near_full: str
    interval: str
    warmth: str


@dataclass(frozen=True, slots=True)
class ChargingPanel:
    """What pages show of how one pack is charged."""

    headline: str
    limit: str
    said: tuple[str, ...]
    spans: tuple[SpanRow, ...]
    trade_off: str | None
    sources: tuple[str, ...]
    not_clocked: str


def charging_panel(shown: PackCharging) -> ChargingPanel:
    """Word how a pack is charged."""
    habit = shown.habit
    return ChargingPanel(
        headline=HABIT_WORDS[habit.habit],
        limit=limit_words(habit),
        said=shown.said,
        spans=tuple(_row(span) for span in (habit.recent, habit.longer)),
        trade_off=trade_off(habit.advice),
        sources=SOURCES if habit.advice != "none" else (),
        not_clocked=NOT_CLOCKED,
    )


def limit_words(habit: ChargingHabit) -> str:
    """Say in a few words what is known of the charge limit."""
    if habit.charge_limit_percent is None:
        return LIMIT_WORDS[habit.limit]
    return f"{habit.charge_limit_percent} %, {LIMIT_WORDS[habit.limit]}"


def _row(span: Span) -> SpanRow:
    share, warmth = span.near_full_share, span.near_full_temperature_c
    return SpanRow(
        name=f"Last {span.length} days",
        readings=f"{span.readings} on {span.days} {'day' if span.days == 1 else 'days'}",
        on_mains=f"{span.on_mains}",
        near_full=f"{span.near_full}",
        interval=share_words(share) if share and span.is_enough else "too few to tell",
        warmth="—" if warmth is None else f"{warmth:.0f} °C",
    )


async def show_charging(request: web.Request) -> web.Response:
    """Show the packs of which a charge limit is worth considering, or all of them."""
    chosen = {name: request.query.get(name) or None for name in ("site", "limit")}
    chosen["packs"] = _packs(request.query.get("packs"))
    cursor = request.query.get("after") or None
    shown = await charging_list(request.app[SERVICES], _wanted(chosen), cursor)
    return page(
        request,
        "charging.html",
        shown=shown,
        **await first_start(request, nothing_shown=not shown.rows),
        chosen=chosen,
        limits=LIMITS,
        is_first_page=cursor is None,
        first_page=address(CHARGING, chosen),
        next_page=shown.next_cursor
        and address(CHARGING, {**chosen, "after": shown.next_cursor}),
        habit_words=HABIT_WORDS,
        limit_words=limit_words,
        in_short=lambda row: in_short(row.habit, shown.fades.get(row.pack_id)),
        share_words=share_words,
        not_clocked=NOT_CLOCKED,
        trade_off=trade_off("consider"),
        sources=SOURCES,
    )


def _wanted(chosen: Mapping[str, str | None]) -> ChargingFilter:
    return ChargingFilter(
        site=site_of(chosen["site"]),
        limit=_limit(chosen["limit"]),
        only_advised=chosen["packs"] is None,
    )


def _packs(value: str | None) -> str | None:
    if value in {None, "", PACKS[0]}:
        return None
    if value == PACKS[1]:
        return value
    raise InvalidRequest("the list shows the packs 'advised' or 'all'")


def _limit(value: str | None) -> LimitKnown | None:
    if value is None:
        return None
    for known in LIMITS:
        if known == value:
            return known
    raise InvalidRequest("a charge limit is 'reported' or 'not reported'")
