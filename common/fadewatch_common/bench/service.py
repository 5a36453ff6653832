"""The issue rule: the pack should stay below the plan threshold for its service."""

from collections.abc import Iterator
from datetime import date
from typing import Literal

from fadewatch_common.bench.facts import LaptopFacts, PackFacts
from fadewatch_common.bench.level import Level, counts_as_new, level_of
from fadewatch_common.bench.reach import Reach, end_of_service, reach_of
from fadewatch_common.bench.remark import Remark, Severity, rounded
from fadewatch_common.bench.words import month, percent, years

DAYS_PER_YEAR = 365.25


def judge_wear(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    """Yield what wear says today, and by the issue rule."""
    level = level_of(pack)
    policy = facts.policy
    if level.wear is None:
        yield _unknown(level)
    elif level.wear >= policy.plan_wear:
        yield _past(facts, level.wear, level.words)
    else:
        yield _service(facts, pack, level.wear, level.words)


def _unknown(level: Level) -> Remark:
    return Remark(
        kind="wear",
        severity="stops",
        sentence=f"Its wear is not known: {level.words}. Without it nothing can be "
        "said of the years to come; test the running time by hand.",
        figures={"wear_percent": None},
    )


def _past(facts: LaptopFacts, wear: float, words: str) -> Remark:
    policy = facts.policy
    replace = wear >= policy.replace_wear
    name, limit = (
        ("replace", policy.replace_wear) if replace else ("plan", policy.plan_wear)
    )
    end = (
        "Look for signs of swelling before you open the laptop, then fit a new pack."
        if replace
        else "Fit a new pack before it is issued."
    )
    return Remark(
        kind="wear",
        severity="stops",
        sentence=f"Wear is {percent(wear)} ({words}), past the {name} threshold of "
        f"{percent(limit)}. {end}",
        figures={"wear_percent": rounded(wear), "threshold_percent": rounded(limit)},
        look_first=replace,
    )


def _service(facts: LaptopFacts, pack: PackFacts, wear: float, words: str) -> Remark:
    policy, asked = facts.policy, facts.service_years
    until = end_of_service(facts.today, asked)
    reach = reach_of(pack, wear, until, facts.today, policy)
    verdict = _verdict(reach, until)
    is_new = counts_as_new(pack, policy, is_new_pack=facts.is_new_pack)
    severity = _softened(verdict, reach) if is_new else verdict
    return Remark(
        kind="service",
        severity=severity,
        sentence=" ".join(
            (
                f"Wear is {percent(max(wear, 0.0))} ({words}).",
                _expected(facts, reach, until),
                f"Fade taken: {reach.whose}.",
                _advice(facts, reach, severity, is_new=is_new),
            )
        ),
        figures={
            "wear_percent": rounded(wear),
            "threshold_percent": rounded(policy.plan_wear),
            "service_years": asked,
            "wear_then_percent": rounded(reach.wear_then),
            "reached_on": _iso(reach.on),
            "reached_earliest": _iso(reach.early),
            "reached_latest": _iso(reach.late),
        },
    )


def _verdict(reach: Reach, until: date) -> Severity:
    """Weigh the days: what is a guess stops less.

    The issue rule asks about typical fade. Publications are a guess at it, and that a
    pack's fade will speed up is one too: neither fails a laptop alone.
    """
    if not reach.is_measured:
        if _within(reach.late, until):
            return "stops"
        return "remark" if _within(reach.on, until) else "note"
    if _within(reach.on, until) and _within(reach.steady, until):
        return "stops"
    days = (reach.early, reach.on, reach.steady)
    return "remark" if any(_within(day, until) for day in days) else "note"


def _softened(verdict: Severity, reach: Reach) -> Severity:
    """No better pack than a new one can be fitted: it only is to know, or to plan."""
    return "remark" if verdict == "stops" and reach.is_measured else "note"


def _within(when: date | None, until: date) -> bool:
    return when is not None and when <= until


def _expected(facts: LaptopFacts, reach: Reach, until: date) -> str:
    side: Literal["below", "past"] = "past" if _within(reach.on, until) else "below"
    limit = percent(facts.policy.plan_wear)
    when = (
        f"reached about {month(reach.on)}"
        if reach.on
        else "which it would not reach within ten years"
    )
    then = percent(round(reach.wear_then, 2))
    much = "at least" if reach.wear_then >= facts.policy.replace_wear else "about"
    return (
        f"After {years(facts.service_years)} of service {much} {then} is expected, "
        f"{side} the plan threshold of {limit}, {when}."
    )


def _advice(
    facts: LaptopFacts, reach: Reach, severity: Severity, *, is_new: bool
) -> str:
    until = end_of_service(facts.today, facts.service_years)
    if is_new and _within(reach.on, until):
        return "It counts as new, and no better one can be fitted: plan its renewal."
    if severity == "note":
        return "That is typical, not promised: fade can speed up."
    if severity == "stops":
        return f"Fit a new pack, or issue it for no more than {_left(facts, reach)}."
    if reach.is_measured and reach.on != reach.steady and _within(reach.on, until):
        steady = f"until {month(reach.steady)}" if reach.steady else "for ten years"
        return (
            f"At the fade of now it would stay below {steady}: look at it again "
            f"within a year, or issue it for no more than {_left(facts, reach)}."
        )
    if reach.early and reach.is_measured:
        return f"One pack in ten would reach it before {month(reach.early)}."
    return "A guess from publications: a history of the pack would tell more."


def _left(facts: LaptopFacts, reach: Reach) -> str:
    soonest = reach.on or facts.today
    left = max((soonest - facts.today).days, 0) / DAYS_PER_YEAR
    # Rounded down: what is promised must hold.
    return years(int(left * 10) / 10)


def _iso(when: date | None) -> str | None:
    return None if when is None else when.isoformat()
