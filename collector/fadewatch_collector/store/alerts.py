"""Rows of alerts: what stands, and how it changes."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.rules.alert_terms import AlertKind
from fadewatch_collector.rules.alerting import (
    REOPENS_WITHIN,
    Known,
    Rested,
    Standing,
    Watch,
)
from fadewatch_collector.store.bulk import among
from fadewatch_collector.store.tables import alerts, finding_watches, laptops
from fadewatch_collector.store.turns import Turn, take_turn


@dataclass(frozen=True, slots=True)
class Subject:
    """What an alert is about: a laptop, or a pack and the laptop it is in."""

    laptop_id: int | None
    pack_id: int | None
    site: str | None

    @property
    def name(self) -> str:
        """Return the subject in one text, as the table keeps it."""
        if self.pack_id is not None:
            return f"pack:{self.pack_id}"
        return f"laptop:{self.laptop_id}"


async def known_alerts(
    connection: AsyncConnection,
    subjects: Collection[str],
    kinds: Collection[AlertKind],
    now: datetime,
) -> dict[str, Known]:
    """Return what stands, rests and is watched, for the transaction that settles it."""
    await take_turn(connection, Turn.ALERTS)
    standing: dict[str, list[Standing]] = defaultdict(list)
    rested: dict[str, dict[AlertKind, Rested]] = defaultdict(dict)
    for row in await connection.execute(_alerts_of(subjects, kinds, now)):
        if row.state != "ended":
            standing[row.subject].append(
                Standing(
                    row.id, row.kind, row.urgency, tuple(row.reasons), row.next_step
                )
            )
        else:
            # Rows come oldest first: the newest of a kind stays.
            by_person = row.ended_by is not None
            rested[row.subject][row.kind] = Rested(
                row.id, row.kind, row.urgency, by_person
            )
    watches = await _watches(connection, subjects, kinds)
    return {
        subject: Known(
            standing.get(subject, ()),
            tuple(rested.get(subject, {}).values()),
            watches.get(subject, ()),
        )
        for subject in subjects
    }


def _alerts_of(
    subjects: Collection[str], kinds: Collection[AlertKind], now: datetime
) -> Select[Any]:
    column = alerts.c
    return (
        select(
            column.subject,
            column.id,
            column.kind,
            column.urgency,
            column.state,
            column.reasons,
            column.next_step,
            column.ended_by,
        )
        .where(
            column.subject.in_(subjects),
            column.kind.in_(kinds),
            (column.state != "ended") | (column.ended_at >= now - REOPENS_WITHIN),
        )
        .order_by(column.ended_at, column.id)
    )


async def _watches(
    connection: AsyncConnection,
    subjects: Collection[str],
    kinds: Collection[AlertKind],
) -> dict[str, list[Watch]]:
    column = finding_watches.c
    query = select(column.subject, column.kind, column.present, column.since).where(
        column.subject.in_(subjects), column.kind.in_(kinds)
    )
    found: dict[str, list[Watch]] = defaultdict(list)
    for subject, kind, present, since in await connection.execute(query):
        found[subject].append(Watch(kind, present, since))
    return found


async def last_changed_at(connection: AsyncConnection) -> datetime | None:
    """Return when an alert last opened, ended, changed its urgency or was acted on."""
    moment: datetime | None = await connection.scalar(
        select(alerts.c.changed_at).order_by(alerts.c.changed_at.desc()).limit(1)
    )
    return moment


async def standing_kinds(
    connection: AsyncConnection, subjects: Collection[str]
) -> dict[str, set[AlertKind]]:
    """Return the kinds of alert that have not ended, by subject."""
    query = select(alerts.c.subject, alerts.c.kind).where(
        alerts.c.subject.in_(subjects), alerts.c.state != "ended"
    )
    found: dict[str, set[AlertKind]] = defaultdict(set)
    for subject, kind in await connection.execute(query):
        found[subject].add(kind)
    return found


@dataclass(frozen=True, slots=True)
class QuietLaptop:
    """A laptop that has not reported for a while."""

    subject: Subject
    maker: str | None
    model: str | None
    last_report_at: datetime | None
    since: datetime


async def quiet_laptops(
    connection: AsyncConnection,
    now: datetime,
    days: int,
    among: Collection[int] | None = None,
) -> list[QuietLaptop]:
    """Return laptops that have not reported for so many days, or never since.

    Parameters
    ----------
    among
        Numbers of the laptops looked at; None: all of them.
    """
    column = laptops.c
    heard = func.coalesce(column.last_report_at, column.enrolled_at)
    query = select(
        column.id,
        column.site,
        column.maker,
        column.model,
        column.last_report_at,
        column.enrolled_at,
    ).where(heard < now - timedelta(days=days))
    if among is not None:
        query = query.where(column.id.in_(among))
    return [
        QuietLaptop(
            Subject(number, None, site), maker, model, last, last or enrolled_at
        )
        for number, site, maker, model, last, enrolled_at in await connection.execute(
            query
        )
    ]


async def laptops_called_silent(connection: AsyncConnection) -> list[int]:
    """Return laptops with a silent alert that has not ended."""
    query = select(alerts.c.laptop_id).where(
        alerts.c.kind == "silent", alerts.c.state != "ended"
    )
    return [int(i) for i in (await connection.execute(query)).scalars() if i]


async def subjects_called_silent(
    connection: AsyncConnection, subjects: Collection[str]
) -> list[str]:
    """Return those of the subjects with a silent alert that has not ended."""
    column = alerts.c
    query = select(column.subject).where(
        among(connection, column.subject, subjects),
        column.kind == "silent",
        column.state != "ended",
    )
    return list((await connection.execute(query)).scalars())
