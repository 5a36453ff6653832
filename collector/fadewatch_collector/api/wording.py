"""From the rows that use cases give to what the API answers."""

from collections.abc import Sequence
from dataclasses import asdict, fields
from datetime import date
from typing import Any

from fadewatch_collector.api.answers import (
    Alert,
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
    WearForecast,
)
from fadewatch_collector.rules.assessment import CrossingDates
from fadewatch_collector.store.laptop_page import (
    AssessmentRow,
    DailyValue,
    PackStay,
)
from fadewatch_collector.store.pages import AlertRow, LaptopRow, PackBrief
from fadewatch_collector.usecases.overview import AlertList, LaptopList, LaptopView

PERCENT_DECIMALS = 3
"""Decimals of a percentage; no gauge is that good, more would be noise of floats."""


def alert_page(found: AlertList) -> AlertPage:
    """Word a page of the alert list."""
    return AlertPage(
        alerts=[_alert(row) for row in found.alerts],
        next=found.next_cursor,
        counts=found.counts,
    )


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
        alerts=[_alert(row) for row in found.alerts],
        changes=[Change(**asdict(change)) for change in found.changes],
    )


def _percent(part: float | None) -> float | None:
    return None if part is None else round(part * 100, PERCENT_DECIMALS)


def _taken(kind: type, row: object, *, without: Sequence[str]) -> dict[str, Any]:
    names = (field.name for field in fields(kind) if field.name not in without)
    return {name: getattr(row, name) for name in names}


def _alert(row: AlertRow) -> Alert:
    return Alert(
        laptop=_laptop_name(row),
        pack=_pack_name(row),
        **_taken(Alert, row, without=("laptop", "pack")),
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
        **_taken(LaptopSummary, row, without=("packs",)),
    )


def _carried(pack: PackBrief) -> CarriedPack:
    return CarriedPack(
        wear_percent=_percent(pack.wear),
        **_taken(CarriedPack, pack, without=("wear_percent",)),
    )


def _stay(stay: PackStay, daily: Sequence[DailyValue]) -> PackInSlot:
    return PackInSlot(
        assessment=None if stay.assessment is None else _assessment(stay.assessment),
        daily=[DailyCapacity(**asdict(value)) for value in daily],
        **_taken(PackInSlot, stay, without=("assessment", "daily")),
    )


def _assessment(row: AssessmentRow) -> PackAssessment:
    return PackAssessment(
        as_of=row.as_of,
        readings=row.readings,
        wear_percent=_percent(row.wear),
        band=row.band,
        fade_percent_per_month=_percent(row.fade_per_month),
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
