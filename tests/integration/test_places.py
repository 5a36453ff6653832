"""Places: a dry run, an import, and its undoing."""

from dataclasses import replace

import pytest
from sqlalchemy import select

from fadewatch_collector.errors import Conflict, InvalidRequest
from fadewatch_collector.store.tables import laptops
from fadewatch_collector.usecases.places import import_places, undo_last_import
from fadewatch_collector.usecases.services import Services
from tests.fleet import new_laptop, rows
from tests.integration.postgres import DATABASES
from tests.reports import LAPTOP

ON = DATABASES

HEAD = "laptop_serial,asset_tag,holder,site\r\n"


async def places(services: Services) -> list[tuple[object, ...]]:
    column = laptops.c
    query = select(column.serial, column.asset_tag, column.holder, column.site)
    return await rows(services, query.order_by(column.id))


async def test_a_dry_run_says_what_would_change_and_changes_nothing(
    services: Services,
) -> None:
    await new_laptop(services, "BM-1")
    file = [HEAD, "BM-1,T-1,staff 9,South\r\n", "BM-9,T-9,,South\r\n"]

    plan = await import_places(services, file, "pat", dry_run=True)

    assert [change.serial for change in plan.changes] == ["BM-1"]
    assert [row.serial for row in plan.unmatched] == ["BM-9"]
    assert await places(services) == [("BM-1", None, None, "North")]


async def test_an_import_sets_places_and_can_be_undone(services: Services) -> None:
    await new_laptop(services, "BM-1")
    await new_laptop(services, "BM-2")
    file = [HEAD, "bm-1,T-1,staff 9,South\r\n"]

    await import_places(services, file, "pat", dry_run=False)
    assert await places(services) == [
        ("BM-1", "T-1", "staff 9", "South"),
        ("BM-2", None, None, "North"),
    ]

    assert await undo_last_import(services, "pat") == 1
    assert await places(services) == [
        ("BM-1", None, None, "North"),
        ("BM-2", None, None, "North"),
    ]
    with pytest.raises(Conflict, match="no import to undo"):
        await undo_last_import(services, "pat")


async def test_undoing_keeps_what_was_changed_since(services: Services) -> None:
    await new_laptop(services, "BM-1")
    await import_places(services, [HEAD, "BM-1,T-1,,South\r\n"], "pat", dry_run=False)
    async with services.store.writing() as connection:
        await connection.execute(laptops.update().values(asset_tag="T-7"))

    await undo_last_import(services, "pat")

    assert await places(services) == [("BM-1", "T-7", None, "North")]


async def test_columns_that_the_file_lacks_stay(services: Services) -> None:
    await new_laptop(services, "BM-1")

    await import_places(
        services, ["laptop_serial,asset_tag\n", "BM-1,T-1\n"], "pat", dry_run=False
    )

    assert await places(services) == [("BM-1", "T-1", None, "North")]


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ([], "must name laptop_serial"),
        (["serial,site\n"], "must name laptop_serial"),
        (["laptop_serial\n"], "none of asset_tag"),
        (["laptop_serial,site,site\n"], "once each"),
        ([HEAD, "BM-1,T-1\n"], "line 2 has 2 cells"),
        ([HEAD, 'BM-1,"T-1,,\n'], "line 2"),
    ],
)
async def test_a_file_that_cannot_be_read_is_refused_with_the_line(
    services: Services, lines: list[str], why: str
) -> None:
    with pytest.raises(InvalidRequest, match=why):
        await import_places(services, lines, "pat", dry_run=False)


async def test_one_bad_row_keeps_everything_as_it_is(services: Services) -> None:
    await new_laptop(services, "BM-1")
    file = [HEAD, "BM-1,T-1,,\r\n", "BM-1,T-2,,\r\n", ",T-3,,\r\n"]

    plan = await import_places(services, file, "pat", dry_run=False)

    assert plan.problems == (
        "line 3: the serial stands in line 2 already",
        "line 4: laptop_serial is empty",
    )
    assert await places(services) == [("BM-1", None, None, "North")]


async def test_a_serial_that_two_laptops_have_is_left_to_people(
    services: Services,
) -> None:
    await new_laptop(services, "BM-1")
    await new_laptop(services, "BM-1", replace(LAPTOP, model="Tern 15"))

    plan = await import_places(services, [HEAD, "BM-1,T,,\n"], "pat", dry_run=False)

    assert plan.problems == ("line 2: 2 laptops have this serial; set them by hand",)


async def test_our_own_guard_against_formulas_is_taken_off_again(
    services: Services,
) -> None:
    await new_laptop(services, "BM-1")

    await import_places(services, [HEAD, "BM-1,'=T1,,\n"], "pat", dry_run=False)

    assert (await places(services))[0][1] == "=T1"
