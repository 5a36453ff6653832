"""GET /packs and /packs/{pack_id}; a laptop's trail."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.api import wording
from fadewatch_collector.api.answers import (
    Alert,
    DailyCapacity,
    PackAssessment,
    Trail,
    TrailLine,
)
from fadewatch_collector.api.fields import NOTHING_ELSE
from fadewatch_collector.api.inspections import Inspection, inspection_answer
from fadewatch_collector.api.keys import SERVICES
from fadewatch_collector.api.parts import goes_on_at, part_of
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.swaps import Swap, swap_answer
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.usecases.laptop_trail import laptop_trail
from fadewatch_collector.usecases.packs import (
    PackFilter,
    PackPlace,
    PackRow,
    PackView,
    list_packs,
    pack_view,
)
from fadewatch_common.report import Unit

LIST = "packs"


@dataclass(frozen=True, slots=True, kw_only=True)
class PackQuery:
    """Which packs, and where the list goes on; ``site`` is where it sits now."""

    __pydantic_config__ = NOTHING_ELSE

    site: QueryText | None = None
    fitted: bool | None = None
    band: Band | None = None
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A pack's stay in a slot of a laptop; ``until_at`` is null while it is there."""

    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    slot: str
    from_at: datetime
    until_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackSummary:
    """One pack of the list; ``place`` is null when it sits in no laptop now."""

    id: int
    maker: str | None
    model: str | None
    serial: str | None
    made_on: date | None
    chemistry: str | None
    unit: Unit
    design_capacity: int | None
    full_charge_capacity: int | None
    cycle_count: int | None
    last_seen_at: datetime
    wear_percent: float | None
    band: Band
    concern: Concern | None
    place: Place | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackPage:
    """A part of the pack list, in the order of their numbers.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    packs: Sequence[PackSummary]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackDetails:
    """Everything known of one pack; daily values oldest first, the rest newest first.

    Attributes
    ----------
    trail
        What people did about the pack and its alerts.
    """

    id: int
    maker: str | None
    model: str | None
    serial: str | None
    made_on: date | None
    chemistry: str | None
    unit: Unit
    design_capacity: int | None
    design_voltage_mv: int | None
    full_charge_capacity: int | None
    remaining_capacity: int | None
    cycle_count: int | None
    state: str | None
    voltage_mv: int | None
    temperature_c: float | None
    charge_limit_percent: int | None
    first_seen_at: datetime
    last_seen_at: datetime
    assessment: PackAssessment | None
    places: Sequence[Place]
    daily: Sequence[DailyCapacity]
    alerts: Sequence[Alert]
    swaps: Sequence[Swap]
    inspections: Sequence[Inspection]
    trail: Sequence[TrailLine]


_PAGE = TypeAdapter(PackPage)
_PACK = TypeAdapter(PackDetails)
_TRAIL = TypeAdapter(Trail)
_GATHERED = (
    "assessment",
    "places",
    "daily",
    "alerts",
    "swaps",
    "inspections",
    "trail",
)


async def show_packs(request: web.Request) -> web.Response:
    """Answer with a part of the pack list."""
    query = query_of(request, PackQuery)
    found = await list_packs(
        request.app[SERVICES],
        PackFilter(site=query.site, fitted=query.fitted, band=query.band),
        after=goes_on_at(LIST, query.cursor),
        limit=query.limit + 1,
    )
    some, cursor = part_of(LIST, found, query.limit)
    page = PackPage(packs=[_summary(one) for one in some], next=cursor)
    return reply(_PAGE, page)


async def show_pack(request: web.Request) -> web.Response:
    """Answer with everything about one pack."""
    number = number_in(request, "pack_id", "pack")
    return reply(_PACK, _details(await pack_view(request.app[SERVICES], number)))


async def show_laptop_trail(request: web.Request) -> web.Response:
    """Answer with what was done about a laptop and its alerts."""
    number = number_in(request, "laptop_id", "laptop")
    found = await laptop_trail(request.app[SERVICES], number)
    return reply(_TRAIL, wording.trail(found))


def _summary(row: PackRow) -> PackSummary:
    return PackSummary(
        wear_percent=wording.percent(row.wear),
        place=None if row.place is None else _place(row.place),
        **wording.taken(PackSummary, row, without=("wear_percent", "place")),
    )


def _place(row: PackPlace) -> Place:
    return Place(**wording.taken(Place, row))


def _details(found: PackView) -> PackDetails:
    return PackDetails(
        assessment=wording.assessment(found.pack.assessment),
        places=[_place(one) for one in found.places],
        daily=wording.daily_values(found.daily),
        alerts=[wording.alert(one) for one in found.alerts],
        swaps=[swap_answer(one) for one in found.swaps],
        inspections=[inspection_answer(one) for one in found.inspections],
        trail=wording.trail(found.trail).lines,
        **wording.taken(PackDetails, found.pack, without=_GATHERED),
    )
