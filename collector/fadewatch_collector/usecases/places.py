"""Import asset tags, holders and sites by laptop serial, and undo the last import."""

import asyncio
from collections.abc import Iterable, Sequence

from fadewatch_collector.errors import ChangedMeanwhile, Conflict
from fadewatch_collector.rules.places import ImportPlan, plan_import, read_places
from fadewatch_collector.store import audit
from fadewatch_collector.store import places as rows
from fadewatch_collector.store.places import PlaceImport
from fadewatch_collector.store.search import refresh_terms
from fadewatch_collector.usecases.services import Services

IMPORTS_SHOWN = 20
NOTHING_TO_UNDO = "there is no import to undo"


async def import_places(
    services: Services, lines: Iterable[str], who: str, *, dry_run: bool
) -> ImportPlan:
    """Import places from a CSV file, or only say what would change.

    Nothing is changed when a row has a problem.

    Raises
    ------
    InvalidRequest
        The file cannot be read; the message names the line.
    """
    # A file of a whole fleet takes a while: the loop goes on answering meanwhile.
    places = await asyncio.to_thread(read_places, lines)
    now = services.clock()
    async with services.store.writing() as connection:
        plan = plan_import(places, await rows.known_places(connection))
        if dry_run or plan.problems:
            return plan
        for change in plan.changes:
            await rows.set_place(connection, change.laptop_id, change.after)
        changed = [change.laptop_id for change in plan.changes]
        await refresh_terms(connection, changed)
        number = await rows.keep_import(connection, plan.changes, who, now)
        await audit.note(
            connection,
            now,
            who,
            "places imported",
            f"places:{number}",
            {"changed": len(plan.changes), "unmatched": len(plan.unmatched)},
        )
    return plan


async def list_imports(services: Services) -> list[PlaceImport]:
    """Return the newest imports, newest first."""
    async with services.store.reading() as connection:
        return await rows.last_imports(connection, IMPORTS_SHOWN)


async def undo_last_import(
    services: Services, who: str, *, expected: int | None = None
) -> int:
    """Undo the newest import that stands; returns how many laptops it gave back.

    A field that was changed again since keeps its newer value.

    Parameters
    ----------
    expected
        The import that is meant; None is whichever stands.

    Raises
    ------
    Conflict
        There is nothing to undo, or another import stands by now.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        newest = await rows.last_imports(connection, IMPORTS_SHOWN)
        last = next((one for one in newest if one.undone_at is None), None)
        if last is None:
            raise _not_the_one(newest, expected) or Conflict(NOTHING_TO_UNDO)
        if expected is not None and last.id != expected:
            raise _not_the_one(newest, expected) or Conflict(
                f"the import that stands is number {last.id}, not {expected}"
            )
        if not await rows.mark_undone(connection, last.id, who, now):
            # Somebody undid it in this very moment: read again who that was.
            newest = await rows.last_imports(connection, IMPORTS_SHOWN)
            raise _not_the_one(newest, last.id) or Conflict(NOTHING_TO_UNDO)
        known = {
            place.laptop_id: place.values
            for places in (await rows.known_places(connection)).values()
            for place in places
        }
        given_back: list[int] = []
        for change in await rows.changes_of(connection, last.id):
            present = known.get(change.laptop_id, {})
            back = {
                name: value
                for name, value in change.before.items()
                if present.get(name) == change.after.get(name)
            }
            if back:
                await rows.set_place(connection, change.laptop_id, back)
                given_back.append(change.laptop_id)
        await refresh_terms(connection, given_back)
        await audit.note(
            connection, now, who, "places import undone", f"places:{last.id}"
        )
    return len(given_back)


def _not_the_one(
    newest: Sequence[PlaceImport], expected: int | None
) -> ChangedMeanwhile | None:
    """Say who was first when the import that is meant does not stand any more."""
    meant = next((one for one in newest if one.id == expected), None)
    if meant is not None and meant.undone_at is not None:
        return ChangedMeanwhile(
            "the import", meant.undone_by, meant.undone_at, "undone"
        )
    if expected is not None and newest and newest[0].id > expected:
        last = newest[0]
        return ChangedMeanwhile("the import", last.who, last.at, "followed by another")
    return None
