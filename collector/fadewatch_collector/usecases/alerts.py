"""Open, update and end alerts as findings come and go."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from fadewatch_collector.rules.alert_terms import AlertKind
from fadewatch_collector.rules.alerting import Finding, settle
from fadewatch_collector.rules.findings import silent_finding
from fadewatch_collector.store import alerts as rows
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services

ENDED_BY_ITSELF = "the cause is gone by the newest readings"


async def apply_findings(
    connection: WriteConnection,
    found: Mapping[Subject, Sequence[Finding]],
    kinds: Collection[AlertKind],
    now: datetime,
) -> None:
    """Make the alerts of these subjects and kinds agree with what was found."""
    names = [subject.name for subject in found]
    standing = await rows.standing_alerts(connection, names, kinds)
    ended: list[int] = []
    for subject, findings in found.items():
        outcome = settle(standing.get(subject.name, ()), findings)
        for finding in outcome.to_open:
            await rows.open_alert(connection, subject, finding, now)
        for alert, finding in outcome.to_update:
            await rows.update_alert(connection, alert, subject, finding, now)
        ended += [alert.id for alert in outcome.to_end]
    if ended:
        await rows.end_alerts(connection, ended, ENDED_BY_ITSELF, now)


async def look_for_silent(services: Services) -> int:
    """Alert on laptops that stopped reporting; end it for those that are back."""
    now, days = services.clock(), services.policy.silent_days
    async with services.store.writing() as connection:
        silent = await rows.silent_laptops(connection, now, days)
        found: dict[Subject, list[Finding]] = {
            subject: [silent_finding(last, days)] for subject, last in silent
        }
        known = {subject.laptop_id for subject in found}
        for laptop_id in await rows.laptops_called_silent(connection):
            if laptop_id not in known:
                found[Subject(laptop_id, None, None)] = []
        await apply_findings(connection, found, {"silent"}, now)
    return len(silent)


async def heard_from(services: Services, laptop_ids: Collection[int]) -> None:
    """End the silent alerts of laptops that have just reported."""
    found: dict[Subject, list[Finding]] = {
        Subject(laptop_id, None, None): [] for laptop_id in laptop_ids
    }
    async with services.store.writing() as connection:
        await apply_findings(connection, found, {"silent"}, services.clock())
