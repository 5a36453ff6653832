"""What the pages of one laptop, one pack and one alert show.

Each answer is read in one steady view of the store, by a fixed number of queries.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fadewatch_collector.analysis.levels import cleaned_levels
from fadewatch_collector.errors import NotFound
from fadewatch_collector.store import (
    accounts,
    inspections,
    laptop_page,
    life,
    pack_page,
    swaps,
    visits,
)
from fadewatch_collector.store.audit import AuditLine
from fadewatch_collector.store.inspections import Inspection
from fadewatch_collector.store.laptop_page import AssessmentRow, DailyValue
from fadewatch_collector.store.life import PlaceMove
from fadewatch_collector.store.pack_page import PackDetail
from fadewatch_collector.store.pages import AlertRow
from fadewatch_collector.store.removed import RemovedPack
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.swaps import SwapDetail, SwapFilter
from fadewatch_collector.store.visits import Visit
from fadewatch_collector.usecases.charging import PackCharging, charging_of
from fadewatch_collector.usecases.laptop_trail import trail_with
from fadewatch_collector.usecases.overview import (
    HISTORY_ROWS,
    LaptopView,
    read_laptop,
)
from fadewatch_collector.usecases.packs import PackView, pack_view
from fadewatch_collector.usecases.policies import policy_of
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import Policy
from fadewatch_common.wear import wear

__all__ = [
    "AlertPage",
    "AssessmentRow",
    "AuditLine",
    "Evidence",
    "Inspection",
    "LaptopPage",
    "PackCharging",
    "PackCourse",
    "PackDetail",
    "PackPage",
    "PlaceMove",
    "RemovedPack",
    "SwapDetail",
    "alert_page",
    "laptop_page_of",
    "pack_page_of",
]

EPOCH_ORDINAL = date(1970, 1, 1).toordinal()

Value = tuple[date, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PackCourse:
    """A pack's daily values and their cleaned level, both oldest first.

    Attributes
    ----------
    level
        Wear by day; it ends with the wear that the assessment states.
    """

    values: Sequence[DailyValue]
    level: Sequence[Value]
    assessment: AssessmentRow | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopPage:
    """One laptop, with what people did; courses and charging are by pack number.

    Attributes
    ----------
    planned
        Its planned visit, if there is one.
    """

    view: LaptopView
    policy: Policy
    courses: Mapping[int, PackCourse]
    charging: Mapping[int, PackCharging]
    swaps: Sequence[SwapDetail]
    inspections: Sequence[Inspection]
    places: Sequence[PlaceMove]
    planned: Visit | None
    trail: Sequence[AuditLine]


@dataclass(frozen=True, slots=True, kw_only=True)
class PackPage:
    """The life of one pack.

    Attributes
    ----------
    removal
        Its record in the register of removed packs, if it has one.
    """

    view: PackView
    policy: Policy
    course: PackCourse
    charging: PackCharging
    removal: RemovedPack | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is known of the pack that an alert is about."""

    pack: PackDetail
    course: PackCourse
    swaps: Sequence[SwapDetail]
    inspections: Sequence[Inspection]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertPage:
    """One alert with its evidence, its trail and whom it can be handed over to."""

    alert: AlertRow
    trail: Sequence[AuditLine]
    operators: Sequence[str]
    policy: Policy
    evidence: Evidence | None


async def laptop_page_of(services: Services, laptop_id: int) -> LaptopPage:
    """Return what the page of a laptop shows.

    Raises
    ------
    NotFound
        There is no such laptop.
    """
    async with services.store.reading() as connection:
        view = await read_laptop(connection, laptop_id)
        laptop = view.laptop
        return LaptopPage(
            view=view,
            policy=await policy_of(
                connection, services, laptop.site, laptop.maker, laptop.model
            ),
            courses={
                stay.pack_id: course_of(view.daily[stay.pack_id], stay.assessment)
                for stay in view.packs
            },
            charging=await charging_of(
                connection,
                {stay.pack_id for stay in view.packs},
                services.clock().date(),
            ),
            swaps=await _swaps(connection, SwapFilter(laptop_id=laptop_id)),
            inspections=await _inspections(connection, laptop_id=laptop_id),
            planned=(await visits.planned_visits(connection, [laptop_id])).get(
                laptop_id
            ),
            places=await life.place_moves(connection, laptop_id, HISTORY_ROWS),
            trail=await trail_with(connection, f"laptop:{laptop_id}", view.alerts),
        )


async def pack_page_of(services: Services, pack_id: int) -> PackPage:
    """Return what the page of a pack shows.

    Raises
    ------
    NotFound
        There is no such pack.
    """
    view = await pack_view(services, pack_id)
    async with services.store.reading() as connection:
        last = view.places[0].laptop_id if view.places else None
        laptop = last and await laptop_page.laptop_detail(connection, last)
        charging = await charging_of(connection, [pack_id], services.clock().date())
        return PackPage(
            view=view,
            policy=await policy_of(
                connection,
                services,
                laptop.site if laptop else None,
                laptop.maker if laptop else None,
                laptop.model if laptop else None,
            ),
            course=course_of(view.daily, view.pack.assessment),
            charging=charging[pack_id],
            removal=await life.removal_of(connection, pack_id),
        )


async def alert_page(services: Services, alert_id: int) -> AlertPage:
    """Return what the page of an alert shows.

    Raises
    ------
    NotFound
        There is no such alert.
    """
    async with services.store.reading() as connection:
        alert = await pack_page.alert_by_id(connection, alert_id)
        if alert is None:
            raise NotFound("alert", alert_id)
        known = await accounts.accounts(connection)
        return AlertPage(
            alert=alert,
            trail=await trail_with(connection, f"alert:{alert_id}", []),
            operators=[one.operator.name for one in known if one.disabled_at is None],
            policy=await policy_of(
                connection, services, alert.site, alert.laptop_maker, alert.laptop_model
            ),
            evidence=await _evidence(connection, alert.pack_id),
        )


async def _evidence(
    connection: WriteConnection, pack_id: int | None
) -> Evidence | None:
    pack = pack_id and await pack_page.pack_detail(connection, pack_id)
    if not pack:
        return None
    daily = await laptop_page.daily_values(connection, {pack.id})
    return Evidence(
        pack=pack,
        course=course_of(daily[pack.id], pack.assessment),
        swaps=await _swaps(connection, SwapFilter(pack_id=pack.id)),
        inspections=await _inspections(connection, pack_id=pack.id),
    )


async def _swaps(connection: WriteConnection, wanted: SwapFilter) -> list[SwapDetail]:
    return await swaps.swaps_before(connection, wanted, before=None, limit=HISTORY_ROWS)


async def _inspections(
    connection: WriteConnection,
    *,
    laptop_id: int | None = None,
    pack_id: int | None = None,
) -> list[Inspection]:
    return await inspections.inspections_before(
        connection,
        laptop_id=laptop_id,
        pack_id=pack_id,
        before=None,
        limit=HISTORY_ROWS,
    )


def course_of(
    values: Sequence[DailyValue], assessment: AssessmentRow | None
) -> PackCourse:
    """Return a pack's daily values with their level."""
    levels = cleaned_levels(
        [value.day.toordinal() - EPOCH_ORDINAL for value in values],
        [wear(value.full_charge_capacity, value.design_capacity) for value in values],
    )
    level = [
        (date.fromordinal(EPOCH_ORDINAL + day), fraction)
        for day, fraction in zip(levels.day.tolist(), levels.wear.tolist(), strict=True)
    ]
    if level and assessment and assessment.wear is not None:
        level = _as_assessed(level, assessment, assessment.wear)
    return PackCourse(values=values, level=level, assessment=assessment)


def _as_assessed(
    level: list[Value], assessment: AssessmentRow, assessed_wear: float
) -> list[Value]:
    """Let the level end with the wear that the assessment states.

    What fell in the newest readings and is not borne out yet is no level: those
    readings stand as points beside it.
    """
    last = level[-1][0]
    if assessment.as_of < last:
        return level
    drop = (assessment.details or {}).get("sudden_drop")
    if drop and not drop["confirmed"]:
        fell_on = date.fromisoformat(drop["on"])
        level = [value for value in level if value[0] < fell_on] or level
    else:
        level = level[:-1]
    return [*level, (last, assessed_wear)]
