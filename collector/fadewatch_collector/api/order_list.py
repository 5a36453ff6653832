"""The order list, its budget, and the packs behind each line."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.fields import NOTHING_ELSE
from fadewatch_collector.api.keys import ORDERS, SERVICES
from fadewatch_collector.api.queries import DEFAULT_ROWS, Limit, QueryText, query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import percent, taken
from fadewatch_collector.rules.assessment import Concern
from fadewatch_collector.rules.order_list import HORIZONS, OrderLine, Range
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.rules.paging import number_cursor, number_key
from fadewatch_collector.usecases.order_lists import DrawnList
from fadewatch_collector.usecases.type_packs import DuePack as FoundPack
from fadewatch_collector.usecases.type_packs import DueState, type_packs
from fadewatch_common.bounds import Text
from fadewatch_common.report import Unit

LIST = "o"
KEY_LENGTH = 600
"""Longest key of a pack type looked for [characters]: two names, each escaped whole."""

TypeKey = Annotated[str, Text(KEY_LENGTH, min_length=1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class TypePacksQuery:
    """Which pack type, by its key in the order list, and where the list goes on."""

    __pydantic_config__ = NOTHING_ELSE

    pack_type: TypeKey
    cursor: QueryText | None = None
    limit: Limit = DEFAULT_ROWS


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedType:
    """A pack type as packs describe it; ``design_capacity`` is in ``unit``.

    Attributes
    ----------
    pack_type
        Its key.
    doubts
        Why someone should read a label before ordering; empty: nothing speaks against.
    """

    pack_type: str
    maker: str | None
    model: str | None
    unit: Unit
    design_capacity: int | None
    design_voltage_mv: int | None
    chemistry: str | None
    doubts: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """A median and its 80 % range; whole packs, or minor units of money."""

    low: int
    central: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HorizonNeed:
    """What is needed, and to buy, within some days; cost null: no price is known."""

    days: int
    needed: Figures
    to_buy: Figures
    cost: Figures | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeLine:
    """One pack type of the order list.

    Attributes
    ----------
    cannot_forecast
        Of the fitted packs, those of which no wear is known: they are in no figure.
    missing_on
        Day on which a pack is missing if all come at their earliest; null: not within
        a year.
    order_by
        The lead time before it; null too when no lead time is known.
    late_delivery
        What is on order comes after the first pack is needed, at the earliest.
    """

    type: NamedType
    fitted: int
    cannot_forecast: int
    on_hand: int | None
    on_order: int | None
    expected_on: date | None
    lead_time_days: int | None
    price_minor: int | None
    currency: str | None
    horizons: Sequence[HorizonNeed]
    missing_on: date | None
    order_by: date | None
    late_delivery: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetMonth:
    """Packs to order in a month, and their cost [minor unit]."""

    month: date
    packs: Figures
    cost: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetSite:
    """Cost of one site's packs by month, and of the twelve months [minor unit]."""

    site: str | None
    months: Sequence[Figures]
    year: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderAnswer:
    """The order list as of a day.

    Attributes
    ----------
    made_at
        When it was drawn; of a large fleet up to ten minutes ago.
    draws
        Drawn fleets that the ranges come from [count].
    horizons
        Of all types, drawn together: not the sum of the lines.
    unpriced
        Packs to order in the twelve months of which no price is known.
    """

    today: date
    made_at: datetime
    currency: str
    draws: int
    fitted: int
    cannot_forecast: int
    lines: Sequence[TypeLine]
    horizons: Sequence[HorizonNeed]
    months: Sequence[BudgetMonth]
    sites: Sequence[BudgetSite]
    year_packs: Figures
    year_cost: Figures
    unpriced: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class PackDue:
    """A pack in use; the days are null unless its state is ``forecast``."""

    pack_id: int
    laptop_id: int
    hostname: str | None
    asset_tag: str | None
    holder: str | None
    site: str | None
    slot: str
    pack_serial: str | None
    wear_percent: float | None
    concern: Concern | None
    state: DueState
    earliest: date | None
    on: date | None
    latest: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PacksOfType:
    """A part of the packs of a type: first due first.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    type: NamedType
    packs: Sequence[PackDue]
    next: str | None


_ORDER = TypeAdapter(OrderAnswer)
_PACKS = TypeAdapter(PacksOfType)


async def show_order_list(request: web.Request) -> web.Response:
    """Answer with today's order list."""
    return reply(_ORDER, _worded(await request.app[ORDERS].present()))


async def show_type_packs(request: web.Request) -> web.Response:
    """Answer with packs of one type."""
    query = query_of(request, TypePacksQuery)
    skip = 0 if query.cursor is None else number_key(LIST, query.cursor)
    found = await type_packs(
        request.app[SERVICES],
        await request.app[ORDERS].fleet(),
        query.pack_type,
        skip=skip,
        limit=query.limit,
    )
    answer = PacksOfType(
        type=named_type(found.type),
        packs=[_pack(one) for one in found.packs],
        next=number_cursor(LIST, skip + query.limit) if found.more else None,
    )
    return reply(_PACKS, answer)


def named_type(kind: PackType) -> NamedType:
    """Word a pack type."""
    known = taken(NamedType, kind, without=("pack_type",))
    return NamedType(pack_type=kind.key, **known)


def _worded(drawn: DrawnList) -> OrderAnswer:
    found = drawn.found
    plain = ("today", "currency", "draws", "fitted", "cannot_forecast")
    return OrderAnswer(
        made_at=drawn.made_at,
        **{name: getattr(found, name) for name in plain},
        lines=[_line(one) for one in found.lines],
        horizons=_horizons(found.needed, found.to_buy, found.cost),
        months=[
            BudgetMonth(
                month=one.month, packs=_figures(one.packs), cost=_figures(one.cost)
            )
            for one in found.months
        ],
        sites=[
            BudgetSite(
                site=one.site,
                months=[_figures(month) for month in one.months],
                year=_figures(one.year),
            )
            for one in found.sites
        ],
        year_packs=_figures(found.year_packs),
        year_cost=_figures(found.year_cost),
        unpriced=_figures(found.unpriced),
    )


def _line(line: OrderLine) -> TypeLine:
    stock = line.stock
    return TypeLine(
        type=named_type(line.type),
        fitted=line.fitted,
        cannot_forecast=line.cannot_forecast,
        on_hand=stock.on_hand,
        on_order=stock.on_order,
        expected_on=stock.expected_on,
        lead_time_days=stock.lead_time_days,
        price_minor=stock.price_minor,
        currency=stock.currency,
        horizons=_horizons(line.needed, line.to_buy, line.cost),
        missing_on=line.missing_on,
        order_by=line.order_by,
        late_delivery=line.late_delivery,
    )


def _horizons(
    needed: Sequence[Range], to_buy: Sequence[Range], cost: Sequence[Range] | None
) -> list[HorizonNeed]:
    return [
        HorizonNeed(
            days=days,
            needed=_figures(needed[place]),
            to_buy=_figures(to_buy[place]),
            cost=None if cost is None else _figures(cost[place]),
        )
        for place, days in enumerate(HORIZONS)
    ]


def _figures(one: Range) -> Figures:
    return Figures(low=one.low, central=one.central, high=one.high)


def _pack(one: FoundPack) -> PackDue:
    known = taken(
        PackDue,
        one.at,
        without=("wear_percent", "concern", "state", "earliest", "on", "latest"),
    )
    return PackDue(
        wear_percent=percent(one.at.wear),
        concern=one.concern,
        state=one.state,
        earliest=one.earliest,
        on=one.on,
        latest=one.latest,
        **known,
    )
