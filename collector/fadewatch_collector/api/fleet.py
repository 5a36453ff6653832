"""GET /fleet/...: the fleet as a whole."""

from typing import Literal

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.fleet_answers import (
    ComparedType,
    ComparedTypes,
    FleetGroup,
    FleetMonth,
    FleetMonths,
    FleetQuarter,
    FleetShare,
    FleetShares,
    HeldForecast,
    HeldForecasts,
)
from fadewatch_collector.api.keys import SERVICES
from fadewatch_collector.api.replies import reply
from fadewatch_collector.rules.compared_types import ComparedGroup
from fadewatch_collector.rules.compared_words import group_sentences
from fadewatch_collector.rules.fleet_outlook import (
    ExpectedGroup,
    ExpectedMonth,
    HeldRow,
)
from fadewatch_collector.rules.fleet_shares import Dimension, Share
from fadewatch_collector.usecases.fleet_view import FleetView, fleet_view

_SHARES = TypeAdapter(FleetShares)
_MONTHS = TypeAdapter(FleetMonths)
_QUARTER = TypeAdapter(FleetQuarter)
_HELD = TypeAdapter(HeldForecasts)
_TYPES = TypeAdapter(ComparedTypes)

DECIMALS = 3
"""Decimals of what is worked out; more would be noise of floats."""


async def show_shares(request: web.Request) -> web.Response:
    """Answer with shares by band, and by site, age and type."""
    view = await _view(request)
    rows = [_share("all", view.whole)] if view.whole.packs else []
    rows += [
        _share(name, share) for name, shares in view.shares.items() for share in shares
    ]
    return reply(_SHARES, FleetShares(as_of=view.made_at, rows=rows))


async def show_months(request: web.Request) -> web.Response:
    """Answer with what is expected month by month."""
    view = await _view(request)
    rows = [_month(month) for month in view.months]
    return reply(_MONTHS, FleetMonths(as_of=view.made_at, rows=rows))


async def show_quarter(request: web.Request) -> web.Response:
    """Answer with what sites and types come to by the end of the quarter."""
    view = await _view(request)
    rows = [_group(group) for group in view.groups]
    found = FleetQuarter(as_of=view.made_at, until=view.quarter_end, rows=rows)
    return reply(_QUARTER, found)


async def show_held(request: web.Request) -> web.Response:
    """Answer with how past forecasts held."""
    view = await _view(request)
    rows = [_held(row) for row in view.held]
    return reply(_HELD, HeldForecasts(as_of=view.made_at, rows=rows))


async def show_types(request: web.Request) -> web.Response:
    """Answer with the types and batches compared."""
    view = await _view(request)
    rows = [_compared(group) for group in view.types]
    return reply(_TYPES, ComparedTypes(as_of=view.made_at, rows=rows))


async def _view(request: web.Request) -> FleetView:
    return await fleet_view(request.app[SERVICES])


def _share(by: Literal["all"] | Dimension, share: Share) -> FleetShare:
    return FleetShare(
        by=by,
        name=share.name,
        pack_type=share.key if by == "type" else None,
        packs=share.packs,
        sound=share.sound,
        plan=share.plan,
        replace=share.replace,
        unknown=share.unknown,
        age_from_first_seen=share.first_seen,
    )


def _month(month: ExpectedMonth) -> FleetMonth:
    return FleetMonth(
        threshold=month.threshold,
        month=month.month,
        expected=round(month.expected, DECIMALS),
        low=month.low,
        high=month.high,
        by_then=round(month.by_then, DECIMALS),
        by_then_low=month.by_then_low,
        by_then_high=month.by_then_high,
    )


def _group(group: ExpectedGroup) -> FleetGroup:
    return FleetGroup(
        by=group.dimension,
        name=group.name,
        pack_type=group.key if group.dimension == "type" else None,
        packs=group.packs,
        past_plan_now=group.past,
        expected=round(group.expected, DECIMALS),
        low=group.low,
        high=group.high,
    )


def _held(row: HeldRow) -> HeldForecast:
    return HeldForecast(
        threshold=row.threshold,
        lead_time=row.lead,
        forecasts=row.forecasts,
        packs=row.packs,
        open=row.open,
        earliest_due=row.earliest_due,
        earliest_passed=row.earliest_crossed,
        middle_due=row.middle_due,
        middle_passed=row.middle_crossed,
        latest_due=row.latest_due,
        latest_passed=row.latest_crossed,
        lost=row.lost,
        before=row.before,
        within=row.within,
        after=row.after,
        waiting=row.waiting,
        median_error_days=row.error_days,
        median_error_percent=_percent(row.error_part),
        error_at_least=row.error_at_least,
    )


def _compared(group: ComparedGroup) -> ComparedType:
    return ComparedType(
        pack_type=group.key,
        name=group.name,
        made=group.made,
        packs=group.packs,
        verdict=group.verdict,
        certainty=group.certainty,
        comparisons=group.comparisons,
        sentences=group_sentences(group),
        fade_percent_per_month=_percent(group.fade_per_month),
        other_fade_percent_per_month=_percent(group.other_fade_per_month),
        fade_ratio=group.fade_ratio,
        fade_ratio_low=group.fade_ratio_low,
        fade_ratio_high=group.fade_ratio_high,
        fade_p=group.fade_p,
        threshold_percent=round(100 * group.threshold, DECIMALS),
        age_from=group.lives_axis,
        lives_packs=group.lives_packs,
        passed=group.passed,
        passed_expected=group.expected,
        median_years=group.median_years,
        median_low_years=group.median_low_years,
        median_high_years=group.median_high_years,
        other_median_years=group.other_median_years,
        lives_p=group.lives_p,
    )


def _percent(part: float | None) -> float | None:
    return None if part is None else round(100 * part, DECIMALS)
