"""What happened to a laptop, in one list: swaps, alerts, changes of its inventory."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from fadewatch_collector.usecases.overview import AlertRow, LaptopView, PackStay
from fadewatch_collector.web.words import (
    KIND_WORDS,
    NOTHING_KNOWN,
    change_words,
    joined,
)


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a laptop's history."""

    at: datetime
    sort: str
    what: str


def events_of(view: LaptopView) -> list[Event]:
    """Return a laptop's history, newest first."""
    events = [
        Event(view.laptop.enrolled_at, "Laptop", "Enrolled"),
        *_of_packs(view.packs),
        *_of_alerts(view.alerts),
        *(
            Event(
                change.measured_at,
                "Inventory",
                change_words(change.item, change.before, change.after),
            )
            for change in view.changes
        ),
    ]
    return sorted(events, key=lambda event: event.at, reverse=True)


def _of_packs(stays: Sequence[PackStay]) -> Iterator[Event]:
    in_time_order = sorted(stays, key=lambda stay: (stay.slot, stay.from_at))
    before: PackStay | None = None
    for stay in in_time_order:
        if before is not None and before.slot == stay.slot:
            what = f"Swapped: {pack_name(before)} out, {pack_name(stay)} in"
        else:
            what = f"First seen: {pack_name(stay)}"
        yield Event(stay.from_at, f"Slot {stay.slot}", what)
        before = stay
    for stay in stays:
        if stay.until_at is not None and not _has_successor(stay, stays):
            what = f"Gone: {pack_name(stay)}"
            yield Event(stay.until_at, f"Slot {stay.slot}", what)


def _has_successor(stay: PackStay, stays: Sequence[PackStay]) -> bool:
    return any(
        other.slot == stay.slot and other.from_at > stay.from_at for other in stays
    )


def pack_name(pack: PackStay) -> str:
    """Name a pack by what it says of itself."""
    name = joined(pack.maker, pack.model)
    if name == NOTHING_KNOWN:
        name = "unnamed pack"
    return f"{name}, serial {pack.serial}" if pack.serial else name


def _of_alerts(alerts: Sequence[AlertRow]) -> Iterator[Event]:
    for alert in alerts:
        name = KIND_WORDS[alert.kind]
        yield Event(alert.opened_at, "Alert", f"Opened: {name}{_wear_then(alert)}")
        if alert.ended_at is not None:
            why = alert.ended_because or "no reason noted"
            yield Event(alert.ended_at, "Alert", f"Ended: {name}. Reason: {why}")


def _wear_then(alert: AlertRow) -> str:
    # Reasons follow the newest readings; the figures of the opening stay as they were.
    wear = alert.figures_opened.get("wear_percent")
    return f", at {wear:.1f} % wear" if isinstance(wear, int | float) else ""
