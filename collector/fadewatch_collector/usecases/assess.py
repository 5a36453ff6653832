"""Assess packs as of today."""

import asyncio
from collections.abc import Mapping
from datetime import date, timedelta
from functools import cache
from math import isnan
from typing import Any

import numpy as np

from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import (
    DAYS_PER_MONTH,
    FADE_SOURCES,
    Assessments,
    Thresholds,
)
from fadewatch_collector.rules.alerting import Finding
from fadewatch_collector.rules.assessment import Assessment
from fadewatch_collector.rules.concern import Circumstances, conclude
from fadewatch_collector.rules.findings import ASSESSED_KINDS, pack_findings
from fadewatch_collector.rules.policy_scopes import FLEET, policy_in_force, scopes_of
from fadewatch_collector.store import alerts as alert_rows
from fadewatch_collector.store import histories as rows
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.histories import FittedPack, KeptAssessment
from fadewatch_collector.store.inspections import last_clean_inspections
from fadewatch_collector.store.policies import all_changes
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.alerts import apply_findings
from fadewatch_collector.usecases.borrowing import borrowed
from fadewatch_collector.usecases.passings import keep_passings
from fadewatch_collector.usecases.services import Services
from fadewatch_common.policy import Policy

WARM_DAYS = 90
"""How far back the highest temperature is looked for [day]. Own choice."""

DAYS_PER_YEAR = 365.25
EPOCH = date(1970, 1, 1)


async def assess_packs(services: Services, pack_ids: list[int]) -> None:
    """Assess packs as of today, keep what is said, and settle their alerts."""
    today = services.clock().date()
    async with services.store.reading() as connection:
        histories = await rows.load_histories(connection, pack_ids)
        fitted = await rows.load_fitted(
            connection, pack_ids, today - timedelta(days=WARM_DAYS)
        )
        changes = await all_changes(connection)
        policies = _policies(changes, services, fitted)
        inspected = await last_clean_inspections(connection, pack_ids)
        priors = await borrowed(connection, pack_ids, fitted)
    common = policy_in_force(services.policy, changes, [FLEET])
    thresholds = _thresholds(pack_ids, policies, common)
    # Numbers take the processor for a while: the loop goes on answering meanwhile.
    figures = await asyncio.to_thread(
        assess, histories, (today - EPOCH).days, thresholds, priors
    )
    place = {pack_id: index for index, pack_id in enumerate(pack_ids)}
    made = {
        pack.id: conclude(
            figures,
            place[pack.id],
            thresholds,
            _circumstances(pack, today, inspected.get(pack.id)),
        )
        for pack in fitted
    }
    if not made:
        return
    kept = [
        _kept(pack_id, said, figures, place[pack_id], policies[pack_id])
        for pack_id, said in made.items()
    ]
    async with services.store.writing() as connection:
        await rows.save_assessments(connection, kept)
        await keep_passings(connection, pack_ids, figures, thresholds, policies)
        await _settle(connection, services, fitted, made, policies)


def _kept(
    pack_id: int, said: Assessment, figures: Assessments, index: int, policy: Policy
) -> KeptAssessment:
    own = float(figures.own_fade[index])
    return KeptAssessment(
        pack_id=pack_id,
        said=said,
        fade_source=FADE_SOURCES[figures.fade_source[index]],
        own_fade_per_month=None if isnan(own) else own * DAYS_PER_MONTH,
        plan_wear=policy.plan_wear,
        replace_wear=policy.replace_wear,
    )


def _policies(
    changes: Mapping[str, Mapping[str, Any]],
    services: Services,
    fitted: list[FittedPack],
) -> dict[int, Policy]:
    @cache
    def policy_of(site: str | None, maker: str | None, model: str | None) -> Policy:
        scopes = scopes_of(site, maker, model)
        return policy_in_force(services.policy, changes, scopes)

    return {
        pack.id: policy_of(pack.subject.site, pack.laptop_maker, pack.laptop_model)
        for pack in fitted
    }


def _thresholds(
    pack_ids: list[int], policies: dict[int, Policy], common: Policy
) -> Thresholds:
    in_force = [policies.get(pack_id, common) for pack_id in pack_ids]
    return Thresholds(
        plan=np.array([policy.plan_wear for policy in in_force]),
        replace=np.array([policy.replace_wear for policy in in_force]),
        common=common.plan_wear,
    )


async def _settle(
    connection: WriteConnection,
    services: Services,
    fitted: list[FittedPack],
    made: dict[int, Assessment],
    policies: dict[int, Policy],
) -> None:
    # What is said of a pack that was taken out stays as it is until a person decides.
    there = [pack for pack in fitted if pack.is_in_slot]
    names = [pack.subject.name for pack in there]
    standing = await alert_rows.standing_kinds(connection, names)
    found: dict[Subject, list[Finding]] = {}
    for pack in there:
        kinds = standing.get(pack.subject.name, set())
        found[pack.subject] = pack_findings(made[pack.id], kinds, policies[pack.id])
    await apply_findings(connection, found, ASSESSED_KINDS, services.clock())


def _circumstances(
    pack: FittedPack, today: date, inspected_on: date | None
) -> Circumstances:
    born = pack.made_on or pack.first_seen_on
    return Circumstances(
        age_years=max((today - born).days, 0) / DAYS_PER_YEAR,
        hottest_c=pack.hottest_c,
        inspected_on=inspected_on,
    )
