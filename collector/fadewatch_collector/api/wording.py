"""From the rows that use cases give to what the API answers."""

from collections.abc import Sequence
from dataclasses import asdict, fields
from datetime import date
from typing import Any

from fadewatch_collector.api.answers import (
    Alert,
    AlertDetails,
    AlertPage,
    CarriedPack,
    Change,
    DailyCapacity,
    LaptopDetails,
    LaptopName,
    LaptopPage,
    LaptopSummary,
    PackAssessment,
    PackInSlot,
    PackName,
    Trail,
    TrailLine,
    WearForecast,
)
from fadewatch_collector.rules.assessment import CrossingDates
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.store.audit import AuditLine
from fadewatch_collector.store.laptop_page import (
    AssessmentRow,
    DailyValue,
    PackStay,
)
from fadewatch_collector.store.pages import AlertRow, LaptopRow, PackBrief
from fadewatch_collector.usecases.laptop_trail import AlertView
from fadewatch_collector.usecases.overview import AlertList, LaptopList, LaptopView

PERCENT_DECIMALS = 3
"""Decimals of a percentage; no gauge is that good, more would be noise of floats."""


def alert_page(found: AlertList) -> AlertPage:
    """Word a page of the alert list."""
    return AlertPage(
        alerts=[alert(row) for row in found.alerts],
        next=found.next_cursor,
        counts=found.counts,
    )


def alert_details(found: AlertView) -> AlertDetails:
    """Word one alert with its trail."""
    plain = alert(found.alert)
    return AlertDetails(trail=trail(found.trail).lines, **taken(Alert, plain))


def trail(lines: Sequence[AuditLine]) -> Trail:
    """Word a trail."""
    return Trail(lines=[TrailLine(**taken(TrailLine, line)) for line in lines])


def laptop_page(found: LaptopList) -> LaptopPage:
    """Word a page of the laptop list."""
    return LaptopPage(
        laptops=[_summary(row) for row in found.laptops], next=found.next_cursor
    )


def laptop_details(found: LaptopView) -> LaptopDetails:
    """Word everything about one laptop."""
    known = {
        field.name: getattr(found.laptop, field.name)
        for field in fields(LaptopDetails)
        if hasattr(found.laptop, field.name)
    }
    return LaptopDetails(
        **known,
        packs=[_stay(stay, found.daily.get(stay.pack_id, ())) for stay in found.packs],
        alerts=[alert(row) for row in found.alerts],
        changes=[Change(**asdict(change)) for change in found.changes],
    )


def percent(part: float | None) -> float | None:
    """Return a fraction in percent."""
    return None if part is None else round(part * 100, PERCENT_DECIMALS)


def taken(kind: type, row: object, *, without: Sequence[str] = ()) -> dict[str, Any]:
    """Return the fields of an answer that a row has under the same names."""
    names = (field.name for field in fields(kind) if field.name not in without)
    return {name: getattr(row, name) for name in names}


def alert(row: AlertRow) -> Alert:
    """Word one alert."""
    worded = ("laptop", "pack", "handed_to", "cautions")
    return Alert(
        laptop=_laptop_name(row),
        pack=_pack_name(row),
        handed_to=row.assigned_name,
        cautions=STOP_USE_CAUTIONS if row.urgency == "stop-use" else (),
        **taken(Alert, row, without=worded),
    )


def _laptop_name(row: AlertRow) -> LaptopName | None:
    if row.laptop_id is None:
        return None
    return LaptopName(
        id=row.laptop_id,
        hostname=row.hostname,
        asset_tag=row.asset_tag,
        maker=row.laptop_maker,
        model=row.laptop_model,
        serial=row.laptop_serial,
    )


def _pack_name(row: AlertRow) -> PackName | None:
    if row.pack_id is None:
        return None
    return PackName(
        id=row.pack_id,
        maker=row.pack_maker,
        model=row.pack_model,
        serial=row.pack_serial,
    )


def _summary(row: LaptopRow) -> LaptopSummary:
    return LaptopSummary(
        packs=[_carried(pack) for pack in row.packs],
        **taken(LaptopSummary, row, without=("packs",)),
    )


def _carried(pack: PackBrief) -> CarriedPack:
    return CarriedPack(
        wear_percent=percent(pack.wear),
        **taken(CarriedPack, pack, without=("wear_percent",)),
    )


def _stay(stay: PackStay, daily: Sequence[DailyValue]) -> PackInSlot:
    return PackInSlot(
        assessment=assessment(stay.assessment),
        daily=daily_values(daily),
        **taken(PackInSlot, stay, without=("assessment", "daily")),
    )


def daily_values(values: Sequence[DailyValue]) -> list[DailyCapacity]:
    """Word a pack's daily values."""
    return [DailyCapacity(**asdict(value)) for value in values]


def assessment(row: AssessmentRow | None) -> PackAssessment | None:
    """Word what is said of a pack; None when it was not assessed yet."""
    if row is None:
        return None
    return PackAssessment(
        as_of=row.as_of,
        readings=row.readings,
        wear_percent=percent(row.wear),
        band=row.band,
        fade_percent_per_month=percent(row.fade_per_month),
        crossings=WearForecast(
            plan=_crossing(row.plan_on, row.plan_earliest, row.plan_latest),
            replace=_crossing(row.replace_on, row.replace_earliest, row.replace_latest),
        ),
        gauge=row.gauge,
        concern=row.concern,
        reasons=row.reasons,
    )


def _crossing(
    on: date | None, earliest: date | None, latest: date | None
) -> CrossingDates | None:
    if on is None or earliest is None or latest is None:
        return None
    return CrossingDates(on=on, earliest=earliest, latest=latest)
