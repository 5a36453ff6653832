"""Open, update and end alerts as findings come and go."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime, timedelta

from fadewatch_collector.rules.alert_terms import AlertKind
from fadewatch_collector.rules.alerting import Finding, Settlement, settle
from fadewatch_collector.rules.event_findings import silent_finding
from fadewatch_collector.rules.notify import is_more_urgent
from fadewatch_collector.rules.policy_scopes import policy_in_force, scopes_of
from fadewatch_collector.store import alerts as rows
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.policies import all_changes
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.notifications import queue_alerts
from fadewatch_collector.usecases.services import Services


async def apply_findings(
    connection: WriteConnection,
    found: Mapping[Subject, Sequence[Finding]],
    kinds: Collection[AlertKind],
    now: datetime,
) -> None:
    """Make the alerts of these subjects and kinds agree with what was found."""
    names = [subject.name for subject in found]
    known = await rows.known_alerts(connection, names, kinds, now)
    for subject, findings in found.items():
        outcome = settle(known[subject.name], findings, now)
        await _carry_out(connection, subject, outcome, now)


async def _carry_out(
    connection: WriteConnection, subject: Subject, outcome: Settlement, now: datetime
) -> None:
    to_tell = [
        await rows.open_alert(connection, subject, finding, now)
        for finding in outcome.to_open
    ]
    for rested, finding in outcome.to_reopen:
        to_tell.append(
            await rows.reopen_alert(connection, rested, subject, finding, now)
        )
    for alert, finding in outcome.to_update:
        await rows.update_alert(connection, alert, subject, finding, now)
        if is_more_urgent(finding.urgency, alert.urgency):
            to_tell.append(alert.id)
    for alert, because in outcome.to_end:
        await rows.end_alert(connection, alert.id, because, now)
    name = subject.name
    await rows.forget_watches(connection, [(name, kind) for kind in outcome.to_forget])
    await rows.start_watches(connection, [(name, w) for w in outcome.to_watch])
    await queue_alerts(connection, to_tell, now)


async def look_for_silent(services: Services) -> int:
    """Alert on laptops that stopped reporting; end it for those that are back.

    How long is too long is the policy's of each laptop.
    """
    now = services.clock()
    async with services.store.writing() as connection:
        changes = await all_changes(connection)
        days = [changed.get("silent_days") for changed in changes.values()]
        shortest = min(
            [
                services.policy.silent_days,
                *(int(day) for day in days if day is not None),
            ]
        )
        found: dict[Subject, list[Finding]] = {}
        for laptop in await rows.quiet_laptops(connection, now, shortest):
            scopes = scopes_of(laptop.subject.site, laptop.maker, laptop.model)
            policy = policy_in_force(services.policy, changes, scopes)
            if now - laptop.since > timedelta(days=policy.silent_days):
                finding = silent_finding(laptop.last_report_at, policy.silent_days)
                found[laptop.subject] = [finding]
        count = len(found)
        known = {subject.laptop_id for subject in found}
        for laptop_id in await rows.laptops_called_silent(connection):
            if laptop_id not in known:
                found[Subject(laptop_id, None, None)] = []
        await apply_findings(connection, found, {"silent"}, now)
    return count


async def heard_from(services: Services, laptop_ids: Collection[int]) -> None:
    """End the silent alerts of laptops that have just reported."""
    found: dict[Subject, list[Finding]] = {
        Subject(laptop_id, None, None): [] for laptop_id in laptop_ids
    }
    async with services.store.writing() as connection:
        await apply_findings(connection, found, {"silent"}, services.clock())


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
    await _carry_out(connection, subject, outcome, now)
