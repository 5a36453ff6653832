"""What waits at a laptop: packs to renew, and alerts somebody has to go there for."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from fadewatch_collector.rules.alert_terms import (
    KIND_WORDS,
    URGENCIES,
    AlertKind,
    Urgency,
)
from fadewatch_collector.rules.clipping import clipped
from fadewatch_collector.rules.visit_facts import FittedPack, OpenAlert, VisitedLaptop
from fadewatch_collector.rules.visit_terms import DUE_BANDS
from fadewatch_common.policy import Policy

RENEWING_KINDS: frozenset[AlertKind] = frozenset({"wear-plan", "wear-replace"})
"""Alerts that say no more than that a pack is to be renewed."""

SAID_BY_DROP: frozenset[AlertKind] = frozenset({"inspect", "sudden-drop"})

SENTENCES = 2
"""Sentences of one matter [count]; the laptop's page has all of them. Own choice."""

LONGEST = 170
"""Longest sentence [characters]; own choice, so that a sheet stays one page."""

FEW = 4
"""Matters that have room for more than a sentence each [count]. Own choice."""

HEAD_LENGTH = 60
"""Longest heading of a matter [characters]; own choice, as above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """One thing for which somebody goes to the laptop.

    Attributes
    ----------
    pack_id
        The pack it is about; None is the laptop.
    kind
        Of its alert; None is the figures alone.
    why
        Sentences with figures.
    """

    head: str
    urgency: Urgency
    why: tuple[str, ...]
    pack_id: int | None = None
    kind: AlertKind | None = None


def packs_to_renew(laptop: VisitedLaptop, until: date) -> list[FittedPack]:
    """Return the packs that are worn, or will pass the plan threshold by a day."""
    renewing = {a.pack_id for a in laptop.alerts if a.kind in RENEWING_KINDS}
    return [
        pack
        for pack in laptop.packs
        if pack.band in DUE_BANDS
        or pack.concern == "replace"
        or pack.pack_id in renewing
        or (pack.plan_on is not None and pack.plan_on <= until)
    ]


def matters_of(
    laptop: VisitedLaptop, renewed: Sequence[FittedPack], policy: Policy
) -> list[Matter]:
    """Return what waits, most urgent first."""
    found = [*_renewals(renewed, policy), *_looks(laptop), *_alerts(laptop)]
    if len(found) > FEW:
        found = [replace(matter, why=matter.why[:1]) for matter in found]
    return sorted(found, key=lambda matter: URGENCIES.index(matter.urgency))


def is_stop_use(laptop: VisitedLaptop) -> bool:
    """Say whether the laptop must be pulled from use."""
    return any(alert.urgency == "stop-use" for alert in laptop.alerts) or any(
        pack.concern == "stop-use" for pack in laptop.packs
    )


def _renewals(renewed: Sequence[FittedPack], policy: Policy) -> Iterator[Matter]:
    for pack in renewed:
        is_worn = pack.band == "replace" or pack.concern == "replace"
        yield Matter(
            head=clipped(f"New pack for slot {pack.slot}", HEAD_LENGTH),
            urgency="act" if is_worn else "plan",
            why=(_wear_sentence(pack, policy),),
            pack_id=pack.pack_id,
        )


def _wear_sentence(pack: FittedPack, policy: Policy) -> str:
    if pack.wear is None:
        return "Its wear is not known; an alert asks for a new pack."
    wear, plan = f"Wear is {100 * pack.wear:.1f} %", f"{100 * policy.plan_wear:.0f} %"
    if pack.band == "replace":
        return f"{wear}; the replace threshold is {100 * policy.replace_wear:.0f} %."
    if pack.band == "plan":
        ahead = (
            f", the replace threshold follows about {pack.replace_on}"
            if pack.replace_on
            else ""
        )
        return f"{wear}; the plan threshold is {plan}{ahead}."
    if pack.plan_on is None:
        return f"{wear}, just below the plan threshold of {plan} again."
    between = (
        f" (in four cases of five between {pack.plan_earliest} and {pack.plan_latest})"
        if pack.plan_earliest and pack.plan_latest
        else ""
    )
    return f"{wear} and expected to pass {plan} about {pack.plan_on}{between}."


def _looks(laptop: VisitedLaptop) -> Iterator[Matter]:
    """Yield what an assessment asks for that no alert says."""
    told = {a.pack_id for a in laptop.alerts if a.kind in SAID_BY_DROP}
    stopped = {a.pack_id for a in laptop.alerts if a.urgency == "stop-use"}
    for pack in laptop.packs:
        if pack.concern == "stop-use" and not stopped & {pack.pack_id, None}:
            head, urgency = f"Stop using the pack in slot {pack.slot}", URGENCIES[0]
        elif pack.concern == "inspect" and pack.pack_id not in told:
            head, urgency = f"Inspect the pack in slot {pack.slot}", URGENCIES[1]
        else:
            continue
        yield Matter(
            head=clipped(head, HEAD_LENGTH),
            urgency=urgency,
            why=_some(pack.reasons),
            pack_id=pack.pack_id,
        )


def _alerts(laptop: VisitedLaptop) -> Iterator[Matter]:
    slots = {pack.pack_id: pack.slot for pack in laptop.packs}
    for alert in laptop.alerts:
        if alert.kind in RENEWING_KINDS and alert.pack_id in slots:
            continue
        yield _of_alert(alert, slots)


def _of_alert(alert: OpenAlert, slots: Mapping[int, str]) -> Matter:
    where = ""
    if alert.pack_id is not None:
        slot = slots.get(alert.pack_id)
        where = ", a pack no longer in it" if slot is None else f", slot {slot}"
    return Matter(
        head=clipped(f"{KIND_WORDS[alert.kind]}{where}", HEAD_LENGTH),
        urgency=alert.urgency,
        why=_some(alert.reasons),
        pack_id=alert.pack_id,
        kind=alert.kind,
    )


def _some(sentences: Sequence[str]) -> tuple[str, ...]:
    return tuple(clipped(sentence, LONGEST) for sentence in sentences[:SENTENCES])
