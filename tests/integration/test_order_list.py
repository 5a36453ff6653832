"""The order list from a real store: who counts, what is needed, stock, and the files."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import delete

from fadewatch_collector.errors import ChangedMeanwhile, InvalidRequest, NotFound
from fadewatch_collector.rules.order_list import OrderList, Range
from fadewatch_collector.rules.stock import StockFigures
from fadewatch_collector.store.audit import trail_of
from fadewatch_collector.store.tables import assessments, laptops, packs, slot_stays
from fadewatch_collector.usecases.order_csv import (
    BUDGET_CSV_COLUMNS,
    DUE_PACKS_CSV_COLUMNS,
    ORDER_CSV_COLUMNS,
    stream_budget_csv,
    stream_due_packs_csv,
    stream_order_csv,
)
from fadewatch_collector.usecases.order_list import order_list, read_fleet
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import (
    find_stock,
    import_stock,
    list_stock,
    set_stock,
)
from fadewatch_collector.usecases.stock_csv import STOCK_CSV_COLUMNS, stream_stock_csv
from fadewatch_collector.usecases.type_packs import laptops_to_look_at, type_packs
from tests.fakes.clock import StandingClock
from tests.fleet import technician
from tests.integration.postgres import DATABASES
from tests.order_fleet import BROOK_KEY, FIVE, HEATH_KEY, Fitted, fit

ON = DATABASES

STOCK = StockFigures(
    on_hand=1, lead_time_days=20, price_minor=6_000, currency="EUR", note="shelf 3"
)


def centrals(ranges: tuple[Range, ...]) -> list[int]:
    assert all(one.low == one.central == one.high for one in ranges)
    return [one.central for one in ranges]


def needed(found: OrderList) -> dict[str | None, list[int]]:
    return {line.type.model: centrals(line.needed) for line in found.lines}


async def test_five_packs_give_the_figures_worked_out_by_hand(
    services: Services,
) -> None:
    await fit(services, *FIVE)
    await set_stock(services, BROOK_KEY, STOCK, await technician(services), version=0)

    found = await order_list(services)

    assert needed(found) == {"TV-B57": [1, 2, 2, 3, 3], "TV-H42": [0, 0, 1, 1, 1]}
    brook, heath = found.lines
    assert centrals(brook.to_buy) == [0, 1, 1, 2, 2]
    today = services.clock().date()
    assert brook.missing_on == today + timedelta(days=30)
    assert brook.order_by == today + timedelta(days=10)
    assert (heath.fitted, heath.cannot_forecast) == (2, 1)
    assert [one.site for one in found.sites] == ["North", "South", None]
    assert found.year_cost == Range(12_000, 12_000, 12_000)
    assert found.unpriced == Range(1, 1, 1)


async def test_who_has_to_be_seen_by_a_person_is_due_now(services: Services) -> None:
    await fit(
        services,
        Fitted(band="replace", concern="replace"),
        Fitted(band="sound", concern="inspect", days=(500, 600, 700)),
        Fitted(band="unknown", concern="stop-use"),
        Fitted(band="sound", days=(500, 600, 700)),
        Fitted(band="sound", days=None),
    )
    found = await order_list(services)
    assert needed(found) == {"TV-B57": [3, 3, 3, 3, 3]}
    assert found.cannot_forecast == 0


async def test_packs_out_of_their_slot_or_in_the_register_do_not_count(
    services: Services,
) -> None:
    await fit(
        services,
        Fitted(band="plan"),
        Fitted(band="plan", is_fitted=False),
        Fitted(band="plan", is_removed=True),
    )
    found = await order_list(services)
    assert found.fitted == 1
    assert needed(found) == {"TV-B57": [1, 1, 1, 1, 1]}


async def test_an_empty_store_has_an_empty_order_list(services: Services) -> None:
    found = await order_list(services)
    assert (found.lines, found.fitted) == ((), 0)


async def test_the_packs_behind_a_line_come_first_due_first_in_parts(
    services: Services,
) -> None:
    await fit(
        services,
        Fitted(days=(90, 120, 200)),
        Fitted(days=(30, 300, 400)),
        Fitted(band="unknown"),
        Fitted(band="plan", concern="plan"),
        Fitted(days=None),
        Fitted(model="TV-H42", capacity=42_000),
    )
    fleet = await read_fleet(services)
    first = await type_packs(services, fleet, BROOK_KEY, skip=0, limit=3)
    rest = await type_packs(services, fleet, BROOK_KEY, skip=3, limit=3)

    assert [one.at.pack_id for one in first.packs] == [4, 2, 1]
    assert [one.at.pack_id for one in rest.packs] == [5, 3]
    assert (first.more, rest.more) == (True, False)
    assert [one.state for one in (*first.packs, *rest.packs)] == [
        "due now",
        "forecast",
        "forecast",
        "not within ten years",
        "cannot be forecast",
    ]
    assert first.packs[1].earliest == services.clock().date() + timedelta(days=30)
    with pytest.raises(NotFound):
        await type_packs(services, fleet, "Tarnvale|TV-X|mWh|1|", skip=0, limit=3)


async def test_a_type_in_doubt_names_laptops_whose_label_to_read(
    services: Services,
) -> None:
    await fit(services, Fitted(), Fitted(capacity=42_000, hostname="lt-odd"))
    doubtful = [line.type for line in (await order_list(services)).lines]
    look_at = await laptops_to_look_at(services, await read_fleet(services), doubtful)
    small, large = doubtful
    assert small.doubts == large.doubts != ()
    assert [one.hostname for one in look_at[small.key]] == ["lt-odd"]
    assert [one.laptop_id for one in look_at[large.key]] == [1]


async def test_stock_is_versioned_and_its_changes_are_in_the_trail(
    services: Services,
) -> None:
    await fit(services, *FIVE)
    pat = await technician(services)
    await set_stock(services, BROOK_KEY, STOCK, pat, version=0)
    with pytest.raises(ChangedMeanwhile, match="pat"):
        await set_stock(services, BROOK_KEY, STOCK, pat, version=0)
    more = replace(STOCK, on_hand=2)
    await set_stock(services, BROOK_KEY, more, pat, version=1)

    kept = await find_stock(services, BROOK_KEY)
    assert (kept.figures, kept.version, kept.changed_by) == (more, 2, "pat")
    async with services.store.reading() as connection:
        (newest, _) = await trail_of(connection, [f"stock:{BROOK_KEY}"], limit=9)
    assert newest.detail is not None
    assert newest.detail["before"]["on_hand"] == 1
    assert newest.detail["after"]["on_hand"] == 2
    with pytest.raises(NotFound):
        await set_stock(services, "a|b|mWh||", STOCK, pat, version=0)


async def test_stock_stays_with_its_type_when_the_commonest_figure_moves(
    services: Services,
) -> None:
    await fit(services, Fitted())
    pat = await technician(services)
    await set_stock(services, BROOK_KEY, STOCK, pat, version=0)
    await fit_more(services, 3, 56_500)

    (one,) = await list_stock(services)
    assert one.type.design_capacity == 56_500
    assert one.figures == STOCK
    await set_stock(services, one.type.key, replace(STOCK, on_hand=7), pat, version=1)
    (again,) = await list_stock(services)
    assert (again.figures.on_hand, again.kept_under) == (7, one.type.key)


async def fit_more(services: Services, count: int, capacity: int) -> None:
    """Fit more packs beside the first."""
    async with services.store.writing() as connection:
        for table in (assessments, slot_stays, packs, laptops):
            await connection.execute(delete(table))
    await fit(services, Fitted(), *[Fitted(capacity=capacity)] * count)


async def test_a_file_is_tried_first_and_then_imported_whole(
    services: Services,
) -> None:
    await fit(services, *FIVE)
    file = [
        "pack_type,on_hand,lead_time_days,price\r\n",
        f"{BROOK_KEY},4,21,64.90\r\n",
        "Tarnvale|TV-X|mWh|1|,1,,\r\n",
    ]
    tried = await import_stock(services, file, "pat", dry_run=True)
    assert (await find_stock(services, BROOK_KEY)).version == 0
    done = await import_stock(services, file, "pat", dry_run=False)

    assert tried == done
    assert [row.key for row in done.unmatched] == ["Tarnvale|TV-X|mWh|1|"]
    kept = (await find_stock(services, BROOK_KEY)).figures
    assert kept == StockFigures(
        on_hand=4, lead_time_days=21, price_minor=6_490, currency="EUR"
    )


async def test_a_file_with_a_problem_changes_nothing_and_names_the_line(
    services: Services,
) -> None:
    await fit(services, *FIVE)
    file = ["pack_type,on_hand\r\n", f"{BROOK_KEY},4\r\n", f"{HEATH_KEY},many\r\n"]
    plan = await import_stock(services, file, "pat", dry_run=False)
    assert plan.problems == (
        "line 3: the number on hand is a whole number between 0 and 100000",
    )
    assert (await find_stock(services, BROOK_KEY)).version == 0
    with pytest.raises(InvalidRequest, match="pack_type"):
        await import_stock(services, ["pack,on_hand\r\n"], "pat", dry_run=True)


async def test_the_exported_stock_can_be_imported_again_unchanged(
    services: Services,
) -> None:
    evil = Fitted(maker="=cmd|' /C calc'!A0", model='say "hi", twice')
    await fit(services, *FIVE, evil)
    pat = await technician(services)
    await set_stock(services, BROOK_KEY, STOCK, pat, version=0)
    text = b"".join([piece async for piece in stream_stock_csv(services)]).decode()

    plan = await import_stock(
        services, text.splitlines(keepends=True), "pat", dry_run=False
    )
    assert (plan.problems, plan.unmatched, plan.changes) == ((), (), ())
    assert plan.unchanged == 3


async def test_the_files_are_written_byte_for_byte(
    services: Services, clock: StandingClock
) -> None:
    evil = Fitted(
        maker="=SUM(A1)",
        model='"x",\ty',
        serial="+1",
        hostname="-h",
        site="@site",
        band="plan",
        concern="plan",
    )
    await fit(services, evil)
    key = '=SUM(A1)|"x",\ty|mWh|57000|11400'
    await set_stock(services, key, STOCK, await technician(services), version=0)
    named = (
        '"\'=SUM(A1)|""x"",\ty|mWh|57000|11400","\'=SUM(A1)","""x"",\ty","mWh",'
        '57000,11400,"Li-ion",'
    )

    order = [piece async for piece in stream_order_csv(OrderLists(services))]
    assert order[0] == ",".join(ORDER_CSV_COLUMNS).encode() + b"\r\n"
    assert order[1].decode() == (
        f'"type",{named},1,0,1,,,20,60.00,"EUR",,'
        + ",1" * 15
        + ",0" * 15
        + ",0.00" * 15
        + '\r\n"all types",,,,,,,,,1,0,,,,,,"EUR",,'
        + ",1" * 15
        + ",0" * 15
        + ",0.00" * 15
        + "\r\n"
    )
    packs = [
        piece async for piece in stream_due_packs_csv(services, OrderLists(services))
    ]
    assert packs[0] == ",".join(DUE_PACKS_CSV_COLUMNS).encode() + b"\r\n"
    assert packs[1].decode() == (
        f'{named}"plan","due now",,,,20.0,"\'@site",,"\'-h",,"BAT0","\'+1"\r\n'
    )
    stock = [piece async for piece in stream_stock_csv(services)]
    assert stock[0] == ",".join(STOCK_CSV_COLUMNS).encode() + b"\r\n"
    assert stock[1].decode() == f'{named}1,1,,,20,60.00,"EUR","shelf 3"\r\n'
    budget = [piece async for piece in stream_budget_csv(OrderLists(services))]
    assert budget[0] == ",".join(BUDGET_CSV_COLUMNS).encode() + b"\r\n"
    lines = budget[1].decode().split("\r\n")
    assert lines[0] == '"all sites","2026-03",,0,0,0,0.00,0.00,0.00,"EUR"'
    assert lines[13] == '"site","2026-03","\'@site",,,,0.00,0.00,0.00,"EUR"'
    assert lines[25] == '"site","2026-03 to 2027-02","\'@site",,,,0.00,0.00,0.00,"EUR"'
    assert clock().year == 2026
