"""What every change of a visit does: look at its version, write it, tell of it."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from fadewatch_collector.errors import (
    ChangedMeanwhile,
    Conflict,
    InvalidRequest,
    NotFound,
)
from fadewatch_collector.rules.notes import note_problem
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store import audit
from fadewatch_collector.store import visits as rows
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.visits import Visit
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_lists import DueEntry, entries_of

NOTE_LENGTH = 2000
"""Longest note [characters]. Own choice."""


async def open_entries(
    connection: WriteConnection,
    services: Services,
    laptop_ids: Sequence[int],
    until: date,
) -> list[DueEntry]:
    """Return laptops where no visit is planned, held until the transaction ends.

    Raises
    ------
    NotFound
        There is no such laptop.
    Conflict
        A visit is planned at one of them.
    """
    await rows.hold_laptops(connection, laptop_ids)
    entries = await entries_of(connection, services, laptop_ids, until)
    known = {entry.sheet.laptop.id for entry in entries}
    for number in laptop_ids:
        if number not in known:
            raise NotFound("laptop", number)
    for entry in entries:
        if entry.planned is not None:
            raise Conflict(
                f"a visit at {entry.sheet.laptop.name} is planned for "
                f"{entry.planned.planned_on} already: move it, mark it done, or call "
                "it off"
            )
    return entries


def new_row(entry: DueEntry, now: datetime, operator: Operator) -> dict[str, Any]:
    """Return what every new visit has."""
    return {
        "laptop_id": entry.sheet.laptop.id,
        "planned_on": None,
        "assigned_to": None,
        "note": None,
        "matters": [matter.head for matter in entry.sheet.matters],
        "created_at": now,
        "created_by": operator.name,
        "changed_at": now,
        "changed_by": operator.name,
    }


async def planned_visit(
    connection: WriteConnection, visit_id: int, version: int
) -> Visit:
    """Return a planned visit that is still at a version.

    Raises
    ------
    NotFound
        There is no such visit.
    Conflict
        It is not planned any more, or somebody changed it.
    """
    visit = await rows.visit_by_id(connection, visit_id)
    if visit is None:
        raise NotFound("visit", visit_id)
    if visit.version != version:
        raise _changed(visit)
    if visit.state != "planned":
        raise Conflict(f"the visit is {visit.state}: plan another one")
    return visit


async def change(
    connection: WriteConnection,
    visit: Visit,
    version: int,
    values: dict[str, Any],
    now: datetime,
    operator: Operator,
) -> None:
    """Change a visit, unless somebody was first."""
    by = {"changed_at": now, "changed_by": operator.name}
    if await rows.change_visit(connection, visit.id, version, values | by):
        return
    newest = await rows.visit_by_id(connection, visit.id)
    raise _changed(newest or visit)


def _changed(visit: Visit) -> ChangedMeanwhile:
    how = "marked done" if visit.state == "done" else "changed"
    if visit.state == "called off":
        how = "called off"
    return ChangedMeanwhile("the visit", visit.changed_by, visit.changed_at, how)


async def tell(
    connection: WriteConnection,
    now: datetime,
    operator: Operator,
    action: str,
    about: DueEntry | Visit,
    detail: dict[str, Any],
) -> None:
    """Write a line of the laptop's trail."""
    laptop_id = about.laptop_id if isinstance(about, Visit) else about.sheet.laptop.id
    subject = f"laptop:{laptop_id}"
    await audit.note(connection, now, operator.name, action, subject, detail)


def checked_note(text: str | None, what: str) -> str | None:
    """Return what a person wrote; None when it is nothing but blanks."""
    stripped = (text or "").strip()
    if not stripped:
        return None
    if problem := note_problem(stripped, what, NOTE_LENGTH):
        raise InvalidRequest(problem)
    return stripped
