"""From a pack's assessment to the findings that alerts stand for."""

from collections.abc import Set as AbstractSet
from datetime import date

from fadewatch_collector.rules.alert_terms import AlertKind, Urgency
from fadewatch_collector.rules.alerting import Finding
from fadewatch_collector.rules.assessment import Assessment
from fadewatch_common.policy import Policy

ASSESSED_KINDS: frozenset[AlertKind] = frozenset(
    {
        "wear-plan",
        "wear-replace",
        "sudden-drop",
        "fast-fade",
        "inspect",
        "gauge-doubt",
    }
)
"""Kinds of alert that an assessment opens and ends."""

DOUBTFUL_GAUGES = frozenset({"frozen", "noisy", "implausible"})
"""A stale gauge is the normal state of a laptop kept on mains, and raises nothing."""


def pack_findings(
    assessment: Assessment, open_kinds: AbstractSet[AlertKind], policy: Policy
) -> list[Finding]:
    """Return what a person should see of a pack.

    Parameters
    ----------
    assessment
        Of the pack, today.
    open_kinds
        Kinds of its alerts that are open: a wear alert ends only when wear has fallen
        back below its threshold by the policy's hysteresis.
    """
    candidates = (
        _wear(assessment, open_kinds, policy),
        _drop(assessment),
        _knee(assessment),
        _inspect(assessment),
        _gauge(assessment),
    )
    return [finding for finding in candidates if finding is not None]


def _figures(assessment: Assessment) -> dict[str, object]:
    return {
        "as_of": assessment.as_of.isoformat(),
        "wear_percent": assessment.wear_percent,
        "readings": assessment.readings,
    }


def _wear(
    assessment: Assessment, open_kinds: AbstractSet[AlertKind], policy: Policy
) -> Finding | None:
    if assessment.wear_percent is None:
        return None
    wear = assessment.wear_percent / 100
    replace_at, plan_at = policy.replace_wear, policy.plan_wear
    if "wear-replace" in open_kinds:
        replace_at -= policy.hysteresis_wear
    if open_kinds & {"wear-plan", "wear-replace"}:
        plan_at -= policy.hysteresis_wear
    if wear >= replace_at:
        kind: AlertKind = "wear-replace"
        urgency: Urgency = "act"
        threshold, name = policy.replace_wear, "replace"
        step = "Replace the pack, and look for physical signs of swelling first."
    elif wear >= plan_at:
        kind, urgency = "wear-plan", "plan"
        threshold, name = policy.plan_wear, "plan"
        step = "Order a pack of the same type and plan the visit."
    else:
        return None
    reason = (
        f"Wear is {100 * wear:.1f} % on {assessment.as_of}; the {name} threshold is "
        f"{100 * threshold:.0f} %."
    )
    return Finding(
        kind=kind,
        urgency=urgency,
        reasons=(reason,),
        next_step=step,
        figures=_figures(assessment),
    )


def _drop(assessment: Assessment) -> Finding | None:
    drop = assessment.sudden_drop
    if drop is None or not drop.confirmed:
        return None
    stop = assessment.concern == "stop-use"
    return Finding(
        kind="sudden-drop",
        urgency="stop-use" if stop else "act",
        reasons=assessment.reasons
        or (_sentence(drop.on, f"capacity fell by {drop.percent:.0f} % of design"),),
        next_step=(
            "Have the laptop switched off and taken out of use until trained staff "
            "have inspected the pack."
            if stop
            else "Inspect the pack for physical signs."
        ),
        figures=_figures(assessment) | {"drop_percent": drop.percent},
    )


def _knee(assessment: Assessment) -> Finding | None:
    knee = assessment.knee
    if knee is None:
        return None
    return Finding(
        kind="fast-fade",
        urgency="plan",
        reasons=(
            _sentence(
                knee.on,
                f"fade went from {knee.before_percent_per_month:.1f} to "
                f"{knee.after_percent_per_month:.1f} % a month",
            ),
        ),
        next_step="Order a pack of the same type; forecasts are less sure from here.",
        figures=_figures(assessment),
    )


def _inspect(assessment: Assessment) -> Finding | None:
    if assessment.concern not in {"inspect", "stop-use"}:
        return None
    if assessment.sudden_drop is not None and assessment.sudden_drop.confirmed:
        # The drop's own alert asks for the inspection already.
        return None
    return Finding(
        kind="inspect",
        urgency="act",
        reasons=assessment.reasons,
        next_step="Inspect the pack for physical signs.",
        figures=_figures(assessment),
    )


def _gauge(assessment: Assessment) -> Finding | None:
    if assessment.gauge not in DOUBTFUL_GAUGES:
        return None
    said = {
        "frozen": "Full-charge capacity has never changed: the gauge does not learn.",
        "noisy": "Full-charge capacity jumps about more than packs do.",
        "implausible": "Most readings cannot be true.",
    }[assessment.gauge]
    return Finding(
        kind="gauge-doubt",
        urgency="note",
        reasons=(said,),
        next_step="Let the laptop run down to about a third and charge it full, rested, "
        "so that the gauge can learn; wear is not to be relied on until then.",
        figures=_figures(assessment),
    )


def _sentence(on: date, what: str) -> str:
    return f"Around {on} {what}."
