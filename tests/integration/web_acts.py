"""Send the forms of pages as a person does."""

from typing import Any

from sqlalchemy import insert, select

from fadewatch_collector.rules.operators import Operator, Role
from fadewatch_collector.store import tables
from fadewatch_collector.store.accounts import add_operator
from fadewatch_collector.usecases.accounts import open_session
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_fleet import SITES, SWAPPED_LAPTOP, alert_row
from tests.integration.pages_service import Page, Pages

HOSTILE = "<script>alert(1)</script>'\"&{{777*3}}"


async def send(pages: Pages, page_path: str, action: str, /, **fields: str) -> Page:
    """Open a page, fill the form with an action, and send it."""
    shown = await pages.get(page_path)
    form = {"form_token": shown.field("form_token")}
    if versions := shown.all("input", name="version"):
        form["version"] = versions[0].attributes["value"] or ""
    return await pages.post(action, form | fields)


async def be(pages: Pages, role: Role, name: str) -> Operator:
    """Be signed in as another new operator."""
    services = pages.services
    async with services.store.writing() as connection:
        operator = await add_operator(connection, name, role, "no", services.clock())
    pages.be(await open_session(services, operator))
    return operator


async def rows(services: Services, *columns: Any) -> list[tuple[Any, ...]]:
    """Return the rows of some columns, in the order of the first."""
    async with services.store.reading() as connection:
        query = select(*columns).order_by(columns[0])
        return [tuple(row) for row in await connection.execute(query)]


async def add_swap(
    services: Services, *, wrong: tuple[str, ...] = ()
) -> tuple[int, int]:
    """Add the swap of the swapped laptop with its alert; return both numbers."""
    now = services.clock()
    async with services.store.writing() as connection:
        swap = await connection.execute(
            insert(tables.swaps)
            .values(
                laptop_id=SWAPPED_LAPTOP, slot="BAT0", at=now, old_pack_id=2,
                new_pack_id=3, state="to confirm", wrong=list(wrong),
                remarks=["It charges."],
            )
            .returning(tables.swaps.c.id)
        )  # fmt: skip
        alert = await connection.execute(
            insert(tables.alerts)
            .values(
                alert_row(
                    "wrong-pack" if wrong else "swap-to-confirm",
                    "act" if wrong else "plan",
                    SWAPPED_LAPTOP, 3, now, "Another pack was seen.", "Confirm it.",
                    site=SITES[SWAPPED_LAPTOP % 3],
                )
            )
            .returning(tables.alerts.c.id)
        )  # fmt: skip
        return swap.scalar_one(), alert.scalar_one()
