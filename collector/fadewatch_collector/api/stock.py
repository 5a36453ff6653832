"""Stock, orders, lead time and price of pack types."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated

from aiohttp import web
from pydantic import StringConstraints, TypeAdapter

from fadewatch_collector.api.bodies import read_body, read_model
from fadewatch_collector.api.fields import BODY_BYTES, NOTHING_ELSE, WHOLE, WRITTEN
from fadewatch_collector.api.keys import OPERATOR, ORDERS, SERVICES
from fadewatch_collector.api.order_list import NamedType, TypeKey, named_type
from fadewatch_collector.api.places import CSV, CSV_BYTES, ImportQuery
from fadewatch_collector.api.queries import query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.stock import (
    MOST_DAYS,
    MOST_MINOR,
    MOST_PACKS,
    NOTE_LENGTH,
    StockFigures,
)
from fadewatch_collector.rules.stock_csv import StockPlan
from fadewatch_collector.usecases.stock import (
    TypeStock,
    find_stock,
    import_stock,
    list_stock,
    set_stock,
)
from fadewatch_common.bounds import Between

Packs = Annotated[int, Between(0, MOST_PACKS), WHOLE]
Note = Annotated[str, StringConstraints(max_length=NOTE_LENGTH, pattern=WRITTEN)]


@dataclass(frozen=True, slots=True, kw_only=True)
class StockQuery:
    """Which pack type, by its key in the order list."""

    __pydantic_config__ = NOTHING_ELSE

    pack_type: TypeKey


@dataclass(frozen=True, slots=True, kw_only=True)
class EnteredStock:
    """What was entered of a type; null: nothing. Price in minor units of currency."""

    on_hand: int | None
    on_order: int | None
    expected_on: date | None
    lead_time_days: int | None
    price_minor: int | None
    currency: str | None
    note: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOfType:
    """The stock of one type.

    Attributes
    ----------
    fitted
        Packs in use [count]; 0: it is in stock only.
    version
        Send it with a change; 0: nothing was entered yet.
    """

    type: NamedType
    fitted: int
    stock: EnteredStock
    version: int
    changed_at: datetime | None
    changed_by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockList:
    """Every pack type in use or in stock."""

    stock: Sequence[StockOfType]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewStock:
    """All that is known of a type from now on; what is left out is not known."""

    __pydantic_config__ = NOTHING_ELSE

    version: Annotated[int, Between(0, 2**31 - 1), WHOLE]
    on_hand: Packs | None = None
    on_order: Packs | None = None
    expected_on: date | None = None
    lead_time_days: Annotated[int, Between(0, MOST_DAYS), WHOLE] | None = None
    price_minor: Annotated[int, Between(0, MOST_MINOR), WHOLE] | None = None
    note: Note | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockChange:
    """What an import changes of one type."""

    type: NamedType
    before: EnteredStock
    after: EnteredStock


@dataclass(frozen=True, slots=True, kw_only=True)
class UnmatchedType:
    """A row of the file whose pack type is neither in use nor in stock."""

    line: int
    pack_type: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOutcome:
    """What an import changed, or would; with any problem nothing can be imported."""

    imported: bool
    changes: Sequence[StockChange]
    unchanged: int
    unmatched: Sequence[UnmatchedType]
    problems: Sequence[str]


_ONE = TypeAdapter(StockOfType)
_LIST = TypeAdapter(StockList)
_NEW = TypeAdapter(NewStock)
_OUTCOME = TypeAdapter(StockOutcome)


async def show_stock(request: web.Request) -> web.Response:
    """Answer with the stock of every type."""
    fleet = await request.app[ORDERS].fleet()
    found = await list_stock(request.app[SERVICES], fleet.grouping.types)
    return reply(_LIST, StockList(stock=[_stock(one) for one in found]))


async def put_stock(request: web.Request) -> web.Response:
    """Set what is known of a type."""
    key = query_of(request, StockQuery).pack_type
    asked = await read_model(request, _NEW, BODY_BYTES)
    services = request.app[SERVICES]
    currency = services.settings.currency
    figures = StockFigures(
        on_hand=asked.on_hand,
        on_order=asked.on_order,
        expected_on=asked.expected_on,
        lead_time_days=asked.lead_time_days,
        price_minor=asked.price_minor,
        currency=None if asked.price_minor is None else currency,
        note=asked.note,
    )
    await set_stock(services, key, figures, request[OPERATOR], version=asked.version)
    return reply(_ONE, _stock(await find_stock(services, key)))


async def take_stock(request: web.Request) -> web.Response:
    """Import stock from a CSV file, or say what that would change."""
    dry_run = query_of(request, ImportQuery).dry_run
    body = await read_body(request, CSV_BYTES, CSV)
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise InvalidRequest("the file is not UTF-8: save it as CSV UTF-8") from problem
    plan = await import_stock(
        request.app[SERVICES],
        io.StringIO(text, newline=""),
        request[OPERATOR].name,
        dry_run=dry_run,
    )
    if plan.problems and not dry_run:
        raise InvalidRequest(
            f"{plan.problems[0]}: nothing was imported. Ask with dry_run=true for all "
            f"{len(plan.problems)} problems."
        )
    return reply(_OUTCOME, _outcome(plan, imported=not dry_run))


def _stock(one: TypeStock) -> StockOfType:
    return StockOfType(
        type=named_type(one.type),
        fitted=one.fitted,
        stock=_entered(one.figures),
        version=one.version,
        changed_at=one.changed_at,
        changed_by=one.changed_by,
    )


def _entered(figures: StockFigures) -> EnteredStock:
    return EnteredStock(
        **{name: getattr(figures, name) for name in StockFigures.__slots__}
    )


def _outcome(plan: StockPlan, *, imported: bool) -> StockOutcome:
    return StockOutcome(
        imported=imported,
        changes=[
            StockChange(
                type=named_type(one.type),
                before=_entered(one.before),
                after=_entered(one.after),
            )
            for one in plan.changes
        ],
        unchanged=plan.unchanged,
        unmatched=[
            UnmatchedType(line=one.line, pack_type=one.key) for one in plan.unmatched
        ],
        problems=plan.problems,
    )
