"""Removed packs: where they are, and how they leave."""

from fadewatch_collector.errors import (
    ChangedMeanwhile,
    Conflict,
    InvalidRequest,
    NotFound,
)
from fadewatch_collector.rules.notes import note_problem
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.store import audit
from fadewatch_collector.store import removed as rows
from fadewatch_collector.store.removed import RemovedPack, RemovedState
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services

WAYS = ("collection point", "trained staff", "post", "air freight", "other")
"""How a removed pack is handed over."""

NOT_FOR_SWOLLEN = frozenset({"post", "air freight"})
"""Ways that a swollen pack never takes: a damaged pack is forbidden by air (49 CFR
173.185(f); IATA/ICAO special provision A154), and is not to be posted."""

TEXT_LENGTH = 500
"""Longest place or note [characters]. Own choice."""


async def list_removed(
    services: Services,
    *,
    state: RemovedState | None = None,
    before: int | None = None,
    limit: int = 100,
) -> list[RemovedPack]:
    """Return removed packs, newest record first."""
    async with services.store.reading() as connection:
        return await rows.removed_packs_after(
            connection, state=state, before=before, limit=limit
        )


async def find_removed(services: Services, record_id: int) -> RemovedPack:
    """Return one record.

    Raises
    ------
    NotFound
        There is no such record.
    """
    async with services.store.reading() as connection:
        record = await rows.removed_by_id(connection, record_id)
    if record is None:
        raise NotFound("removed pack", record_id)
    return record


async def set_aside(
    services: Services,
    record_id: int,
    version: int,
    operator: Operator,
    *,
    place: str,
    swollen: bool | None,
    note: str | None = None,
) -> None:
    """Say where a removed pack lies, and whether it is swollen."""
    values: dict[str, object] = {"state": "set aside", "place": _text(place, "place")}
    if note and note.strip():
        values["note"] = _text(note, "note")
    if swollen is not None:
        values["swollen"] = swollen
    await _change(services, record_id, version, operator, "pack set aside", values)


async def hand_over(
    services: Services,
    record_id: int,
    version: int,
    operator: Operator,
    *,
    way: str,
    note: str | None = None,
) -> None:
    """Say how a removed pack left.

    Raises
    ------
    InvalidRequest
        No such way, or the pack is swollen (or nobody has said that it is not) and
        may not be posted or flown.
    """
    if way not in WAYS:
        raise InvalidRequest(f"'{way}' is none of: {', '.join(WAYS)}")
    record = await find_removed(services, record_id)
    if way in NOT_FOR_SWOLLEN and record.swollen is not False:
        known = "is swollen" if record.swollen else "may be swollen (nobody has said)"
        raise InvalidRequest(
            f"the pack {known}: it must not be posted or flown. Hand it to trained "
            "staff or a battery collection point; local rules come first."
        )
    values: dict[str, object] = {"state": "handed over", "place": way}
    if note and note.strip():
        values["note"] = _text(note, "note")
    await _change(services, record_id, version, operator, "pack handed over", values)


async def _change(
    services: Services,
    record_id: int,
    version: int,
    operator: Operator,
    action: str,
    values: dict[str, object],
) -> None:
    now = services.clock()
    async with services.store.writing() as connection:
        record = await rows.removed_by_id(connection, record_id)
        if record is None:
            raise NotFound("removed pack", record_id)
        if record.state == "handed over":
            by = f" by {record.changed_by}" if record.changed_by else ""
            raise Conflict(f"the pack was handed over already{by}")
        if not await rows.change_removed(connection, record_id, version, now, values):
            raise await _changed(connection, record_id)
        subjects = [f"pack:{record.pack_id}"]
        if record.laptop_id is not None:
            subjects.append(f"laptop:{record.laptop_id}")
        for subject in subjects:
            await audit.note(connection, now, operator.name, action, subject, values)


async def _changed(connection: WriteConnection, record_id: int) -> ChangedMeanwhile:
    record = await rows.removed_by_id(connection, record_id)
    if record is None:
        raise NotFound("removed pack", record_id)
    return ChangedMeanwhile(
        "the record", record.changed_by, record.changed_at, record.state
    )


def _text(text: str | None, what: str) -> str:
    stripped = (text or "").strip()
    if problem := note_problem(stripped, what, TEXT_LENGTH):
        raise InvalidRequest(problem)
    return stripped
