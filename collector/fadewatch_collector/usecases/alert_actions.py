"""What people do with an alert: acknowledge, plan, hand over, note, end.

Each takes the version of the alert that the person saw: when somebody changed it
meanwhile, nothing happens and the answer says who and when.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

from fadewatch_collector.errors import (
    ChangedMeanwhile,
    Conflict,
    InvalidRequest,
    NotFound,
)
from fadewatch_collector.rules.notes import note_problem
from fadewatch_collector.rules.operators import Operator, clean_name, name_problem
from fadewatch_collector.store import alert_actions as rows
from fadewatch_collector.store import audit
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services

NOTE_LENGTH = 2000
"""Longest note or reason [characters]. Own choice."""

NAME_SHOWN = 64
"""Characters of a name nobody has that are given back [count]. Own choice."""


async def acknowledge(
    services: Services, alert_id: int, version: int, operator: Operator
) -> None:
    """Say that the alert was seen and is being dealt with."""
    values = {"state": "acknowledged", "planned_on": None}
    await _change(services, alert_id, version, operator, "acknowledged", values)


async def plan(
    services: Services, alert_id: int, version: int, operator: Operator, on: date
) -> None:
    """Set the day on which it will be dealt with.

    Raises
    ------
    InvalidRequest
        The day is past.
    """
    if on < services.clock().date():
        raise InvalidRequest(f"{on} is past; choose today or a later day")
    values = {"state": "planned", "planned_on": on}
    detail = {"planned_on": on.isoformat()}
    await _change(services, alert_id, version, operator, "planned", values, detail)


async def hand_over(
    services: Services, alert_id: int, version: int, operator: Operator, to: str
) -> None:
    """Hand an alert over to an operator.

    Raises
    ------
    NotFound
        There is no such operator, or the account is disabled.
    """
    name = await operator_named(services, to)
    async with services.store.reading() as connection:
        values = {"assigned_to": await rows.operator_id(connection, name)}
    detail = {"to": name}
    await _change(services, alert_id, version, operator, "handed over", values, detail)


async def operator_names(services: Services) -> list[str]:
    """Return the operators to whom an alert can be handed over, in order."""
    async with services.store.reading() as connection:
        return await rows.able_names(connection)


async def operator_named(services: Services, typed: str) -> str:
    """Return the name of an operator who may sign in, as it is kept.

    Raises
    ------
    NotFound
        There is no such operator, or the account is disabled.
    """
    name = clean_name(typed)
    async with services.store.reading() as connection:
        known = not name_problem(name)
        number = await rows.operator_id(connection, name) if known else None
    if number is None:
        raise NotFound("operator", name[:NAME_SHOWN])
    return name


async def add_note(
    services: Services, alert_id: int, operator: Operator, text: str
) -> None:
    """Add a note; notes never clash, so no version is asked for.

    Raises
    ------
    NotFound
        There is no such alert.
    InvalidRequest
        The note is empty or too long.
    """
    note = _checked(text, "note")
    async with services.store.writing() as connection:
        if await rows.alert_standing(connection, alert_id) is None:
            raise NotFound("alert", alert_id)
        detail, now = {"text": note}, services.clock()
        await audit.note(
            connection, now, operator.name, "note", f"alert:{alert_id}", detail
        )


async def end(
    services: Services, alert_id: int, version: int, operator: Operator, because: str
) -> None:
    """End an alert by hand; it rests for 30 days unless it becomes more urgent."""
    reason = _checked(because, "reason")
    values = {
        "state": "ended",
        "ended_at": services.clock(),
        "ended_because": reason,
        "ended_by": operator.name,
    }
    detail = {"because": reason}
    await _change(services, alert_id, version, operator, "ended", values, detail)


async def _change(
    services: Services,
    alert_id: int,
    version: int,
    operator: Operator,
    action: str,
    values: dict[str, Any],
    detail: Mapping[str, Any] | None = None,
) -> None:
    now = services.clock()
    async with services.store.writing() as connection:
        alert = await rows.alert_standing(connection, alert_id)
        if alert is None:
            raise NotFound("alert", alert_id)
        if alert.version == version and alert.state == "ended":
            raise Conflict("the alert has ended; it opens again if its cause returns")
        if not await rows.change_alert(connection, alert_id, version, now, values):
            raise await _changed(connection, alert_id)
        await audit.note(
            connection,
            now,
            operator.name,
            action,
            f"alert:{alert_id}",
            dict(detail) if detail else None,
        )


async def _changed(connection: WriteConnection, alert_id: int) -> ChangedMeanwhile:
    alert = await rows.alert_standing(connection, alert_id)
    if alert is None:
        raise NotFound("alert", alert_id)
    last = await rows.last_change(connection, alert)
    return ChangedMeanwhile("the alert", last.who, last.at, last.action)


def _checked(text: str, what: str) -> str:
    stripped = text.strip()
    if problem := note_problem(stripped, what, NOTE_LENGTH):
        raise InvalidRequest(problem)
    return stripped
