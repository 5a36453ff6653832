"""What became of a visit: done, or called off.

Alerts do not end by it: the next readings confirm a swap, and that ends them.
"""

from collections.abc import Collection

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.rules.visit_terms import WORK_WORDS, Work
from fadewatch_collector.store import visits as rows
from fadewatch_collector.store.visits import Visit
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.visit_changes import (
    change,
    checked_note,
    new_row,
    open_entries,
    planned_visit,
    tell,
)

WORD_SHOWN = 40


async def finish_visit(
    services: Services,
    visit_id: int,
    version: int,
    operator: Operator,
    *,
    work: Collection[str],
    found: str | None = None,
) -> None:
    """Mark a planned visit done.

    Alerts do not end by it: the next readings confirm a swap, and that ends them.

    Raises
    ------
    InvalidRequest
        It does not say what was done.
    """
    now, done = services.clock(), _work(work)
    text = checked_note(found, "note")
    async with services.store.writing() as connection:
        visit = await planned_visit(connection, visit_id, version)
        values = {"state": "done", "work": done, "found": text, "done_at": now}
        await change(connection, visit, version, values, now, operator)
        detail = {"visit": visit_id, "work": done, "note": text}
        await tell(connection, now, operator, "visit done", visit, detail)


async def record_visit(
    services: Services,
    laptop_id: int,
    operator: Operator,
    *,
    work: Collection[str],
    found: str | None = None,
) -> int:
    """Keep a visit that nobody had planned, and return its number.

    Raises
    ------
    Conflict
        A visit is planned at the laptop: that one is to be marked done.
    """
    now, done = services.clock(), _work(work)
    text = checked_note(found, "note")
    async with services.store.writing() as connection:
        (entry,) = await open_entries(connection, services, [laptop_id], now.date())
        made = new_row(entry, now, operator) | {
            "state": "done",
            "work": done,
            "found": text,
            "done_at": now,
        }
        (number,) = await rows.add_visits(connection, [made])
        detail = {"visit": number, "work": done, "note": text}
        await tell(connection, now, operator, "visit done", entry, detail)
    return number


async def call_off_visit(
    services: Services, visit_id: int, version: int, operator: Operator, because: str
) -> None:
    """Call a planned visit off; its alerts stay as they are.

    Raises
    ------
    InvalidRequest
        No reason is given.
    """
    now = services.clock()
    reason = checked_note(because, "reason")
    if reason is None:
        raise InvalidRequest("say why the visit is called off")
    async with services.store.writing() as connection:
        visit = await planned_visit(connection, visit_id, version)
        values = {"state": "called off", "found": reason}
        await change(connection, visit, version, values, now, operator)
        detail = {"visit": visit_id, "because": reason}
        await tell(connection, now, operator, "visit called off", visit, detail)


async def find_visit(services: Services, visit_id: int) -> Visit:
    """Return one visit.

    Raises
    ------
    NotFound
        There is no such visit.
    """
    async with services.store.reading() as connection:
        visit = await rows.visit_by_id(connection, visit_id)
    if visit is None:
        raise NotFound("visit", visit_id)
    return visit


def _work(work: Collection[str]) -> list[Work]:
    unknown = sorted(set(work) - set(WORK_WORDS))
    if unknown:
        raise InvalidRequest(
            f"'{unknown[0][:WORD_SHOWN]}' is none of: {', '.join(WORK_WORDS)}"
        )
    done = [word for word in WORK_WORDS if word in work]
    if not done:
        raise InvalidRequest("say what was done, or that nothing was found")
    if "nothing" in done and len(done) > 1:
        raise InvalidRequest("either nothing was found, or something was done")
    return done
