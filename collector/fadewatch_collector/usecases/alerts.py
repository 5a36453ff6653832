"""Open, update and end alerts as findings come and go."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from fadewatch_collector.rules.alert_terms import AlertKind
from fadewatch_collector.rules.alerting import Finding, Settlement, settle
from fadewatch_collector.rules.event_findings import silent_finding
from fadewatch_collector.rules.notify import is_more_urgent
from fadewatch_collector.rules.policy_scopes import policy_in_force, scopes_of
from fadewatch_collector.store import alert_changes as changes
from fadewatch_collector.store import alerts as rows
from fadewatch_collector.store.alert_changes import Change
from fadewatch_collector.store.alerts import QuietLaptop, Subject
from fadewatch_collector.store.policies import all_changes
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.notifications import queue_alerts
from fadewatch_collector.usecases.services import Services

SUBJECTS_AT_ONCE = 500
"""Subjects settled by one set of statements [count]: they take a limited number of
values. Own choice."""

Outcomes = Sequence[tuple[Subject, Settlement]]


async def apply_findings(
    connection: WriteConnection,
    found: Mapping[Subject, Sequence[Finding]],
    kinds: Collection[AlertKind],
    now: datetime,
) -> None:
    """Make the alerts of these subjects and kinds agree with what was found."""
    subjects = list(found)
    for start in range(0, len(subjects), SUBJECTS_AT_ONCE):
        part = subjects[start : start + SUBJECTS_AT_ONCE]
        names = [subject.name for subject in part]
        known = await rows.known_alerts(connection, names, kinds, now)
        outcomes = [
            (subject, settle(known[subject.name], found[subject], now))
            for subject in part
        ]
        await _carry_out(connection, outcomes, now)


async def _carry_out(
    connection: WriteConnection, outcomes: Outcomes, now: datetime
) -> None:
    to_tell = await changes.open_alerts(
        connection,
        [(about, finding) for about, one in outcomes for finding in one.to_open],
        now,
    )
    reopened = [
        (rested.id, about, finding)
        for about, one in outcomes
        for rested, finding in one.to_reopen
    ]
    await changes.reopen_alerts(connection, reopened, now)
    to_tell += [number for number, _, _ in reopened]
    to_tell += await _update(connection, outcomes, now)
    ended = [
        (alert.id, because) for _, one in outcomes for alert, because in one.to_end
    ]
    await changes.end_alerts(connection, ended, now)
    await changes.forget_watches(
        connection,
        [(about.name, kind) for about, one in outcomes for kind in one.to_forget],
    )
    await changes.start_watches(
        connection,
        [(about.name, watch) for about, one in outcomes for watch in one.to_watch],
    )
    await queue_alerts(connection, to_tell, now)


async def _update(
    connection: WriteConnection, outcomes: Outcomes, now: datetime
) -> list[int]:
    """Bring standing alerts up to date; returns those that became more urgent."""
    same: list[Change] = []
    changed: list[Change] = []
    worse = []
    for about, one in outcomes:
        for alert, finding in one.to_update:
            kept = same if finding.urgency == alert.urgency else changed
            kept.append((alert.id, about, finding))
            if is_more_urgent(finding.urgency, alert.urgency):
                worse.append(alert.id)
    await changes.update_alerts(connection, same)
    await changes.update_urgencies(connection, changed, now)
    return worse


async def look_for_silent(services: Services) -> int:
    """Alert on laptops that stopped reporting; end it for those that are back.

    How long is too long is the policy's of each laptop. Some at a time, so that reports
    which come in meanwhile do not wait for thousands of alerts.
    """
    now = services.clock()
    async with services.store.reading() as connection:
        policies = await all_changes(connection)
        shortest = _shortest_silence(services, policies)
        quiet = await rows.quiet_laptops(connection, now, shortest)
        called = await rows.laptops_called_silent(connection)
    numbers = sorted({laptop.subject.laptop_id or 0 for laptop in quiet} | set(called))
    count = 0
    for start in range(0, len(numbers), SUBJECTS_AT_ONCE):
        part = numbers[start : start + SUBJECTS_AT_ONCE]
        found: dict[Subject, list[Finding]] = {}
        async with services.store.writing() as connection:
            # Asked again: one may have reported since.
            for laptop in await rows.quiet_laptops(connection, now, shortest, part):
                finding = _silent(services, policies, laptop, now)
                if finding is not None:
                    found[laptop.subject] = [finding]
            count += len(found)
            known = {subject.laptop_id for subject in found}
            for laptop_id in sorted(set(part) & set(called) - known):
                found[Subject(laptop_id, None, None)] = []
            await apply_findings(connection, found, {"silent"}, now)
    return count


def _shortest_silence(
    services: Services, policies: Mapping[str, Mapping[str, Any]]
) -> int:
    days = [changed.get("silent_days") for changed in policies.values()]
    known = [int(day) for day in days if day is not None]
    return min([services.policy.silent_days, *known])


def _silent(
    services: Services,
    policies: Mapping[str, Mapping[str, Any]],
    laptop: QuietLaptop,
    now: datetime,
) -> Finding | None:
    scopes = scopes_of(laptop.subject.site, laptop.maker, laptop.model)
    days = policy_in_force(services.policy, policies, scopes).silent_days
    if now - laptop.since <= timedelta(days=days):
        return None
    return silent_finding(laptop.last_report_at, days)


async def end_silence(
    connection: WriteConnection, laptop_ids: Collection[int], now: datetime
) -> None:
    """End the silent alerts of laptops, in the transaction that heard from them."""
    subjects = [Subject(laptop_id, None, None) for laptop_id in laptop_ids]
    names = {subject.name: subject for subject in subjects}
    found: dict[Subject, list[Finding]] = {
        names[name]: [] for name in await rows.subjects_called_silent(connection, names)
    }
    if found:
        await apply_findings(connection, found, {"silent"}, now)


async def raise_event(
    connection: WriteConnection, subject: Subject, finding: Finding, now: datetime
) -> None:
    """Open an alert for something that happened; it stays until a person ends it.

    When one of its kind stands already its reasons are brought up to date: a second
    report of the same matter is no second alert.
    """
    known = await rows.known_alerts(connection, [subject.name], {finding.kind}, now)
    standing = known[subject.name].standing
    outcome = Settlement()
    if standing:
        outcome.to_update.append((standing[0], finding))
    else:
        outcome.to_open.append(finding)
    await _carry_out(connection, [(subject, outcome)], now)
