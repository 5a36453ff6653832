"""Findings that are no assessment: what happened to a laptop or pack."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from fadewatch_collector.rules.alerting import Finding
from fadewatch_collector.rules.inventory import Change
from fadewatch_collector.rules.swap_verdict import Verdict

GIGABYTE = 10**9
MIB_PER_GIB = 1024


def silent_finding(last_report_at: datetime | None, days: int) -> Finding:
    """Return the finding for a laptop that has stopped reporting."""
    since = (
        f"Last report on {last_report_at.date()}."
        if last_report_at
        else "It enrolled and has never reported."
    )
    return Finding(
        kind="silent",
        urgency="note",
        reasons=(f"No report for {days} days or more. {since}",),
        next_step="Find out whether the laptop is still in use and its agent runs.",
        figures={"last_report_at": last_report_at and last_report_at.isoformat()},
    )


def swap_finding(at: datetime, verdict: Verdict) -> Finding:
    """Return the finding for a pack that took another's place."""
    seen = f"Another pack was seen on {at.date()}."
    if verdict.is_right:
        return Finding(
            kind="swap-to-confirm",
            urgency="plan",
            reasons=(seen, *verdict.remarks),
            next_step="Confirm the swap, and say whether the removed pack was swollen.",
        )
    return Finding(
        kind="wrong-pack",
        urgency="act",
        reasons=(seen, *verdict.wrong, *verdict.remarks),
        next_step="Compare the label with the pack that was removed; fit the identical "
        "pack, or confirm that this one is meant to be there.",
    )


def clash_finding(other_laptop: str, slot: str) -> Finding:
    """Return the finding for two laptops that show one pack's identity."""
    sentence = (
        f"The pack in {slot} tells the same maker, model, serial and date, at the same "
        f"time, as one in {other_laptop}. They are kept apart from here on."
    )
    return Finding(
        kind="identity-clash",
        urgency="note",
        reasons=(sentence,),
        next_step="Read the labels of both packs; where they really differ nothing "
        "more is to be done.",
    )


def enrolment_clash_finding(known_laptops: Sequence[int]) -> Finding:
    """Return the finding for a laptop that looks like known ones and is a new one."""
    names = ", ".join(f"laptop {number}" for number in known_laptops)
    sentence = (
        f"It enrolled with a serial number or board id of {names}, but does not agree "
        "with it in maker, model, serial and board id together."
    )
    return Finding(
        kind="identity-clash",
        urgency="note",
        reasons=(sentence,),
        next_step="Look whether it is the same machine with a new board, or another "
        "with a copied identity.",
    )


def hardware_finding(changes: Sequence[Change], at: datetime) -> Finding:
    """Return the finding for memory or a drive that changed; a fact, no suspicion."""
    return Finding(
        kind="hardware-changed",
        urgency="note",
        reasons=tuple(
            f"{_item(change)} since {at.date()}: {_part(change.before)} before, "
            f"{_part(change.after)} now."
            for change in changes
        ),
        next_step="If this was planned, end the alert; otherwise ask at the site.",
    )


def swelling_finding(signs: Sequence[str], who: str, at: datetime) -> Finding:
    """Return the finding for physical signs that a person reported."""
    return Finding(
        kind="swelling-reported",
        urgency="stop-use",
        reasons=(f"{who} reported on {at.date()}: {'; '.join(signs)}.",),
        next_step="Have the laptop switched off and taken out of use now; trained "
        "staff remove the pack.",
        figures={"signs": list(signs)},
    )


def _item(change: Change) -> str:
    return "Memory is different" if change.item == "memory" else "A drive is different"


def _part(part: dict[str, Any] | None) -> str:
    if part is None:
        return "none"
    if "size_mib" in part:
        size = part["size_mib"]
        where = part["locator"]
        return f"{where} {size / MIB_PER_GIB:g} GiB" if size else f"{where} empty"
    words = (part.get("model"), f"{part['size_bytes'] / GIGABYTE:.0f} GB")
    return " ".join(word for word in words if word)
