"""What happened to a laptop, in one list: packs, alerts, parts, and people's acts."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from fadewatch_collector.rules.alert_terms import KIND_WORDS
from fadewatch_collector.usecases.overview import AlertRow, PackStay
from fadewatch_collector.usecases.page_views import AuditLine, LaptopPage, PlaceMove
from fadewatch_collector.web.happenings import pack_name
from fadewatch_collector.web.trail import trail_lines
from fadewatch_collector.web.words import NOTHING_KNOWN, change_words

ENROLLED = "laptop enrolled"


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a history.

    Attributes
    ----------
    sort
        What it is about, or the person who did it.
    text
        What that person wrote.
    """

    at: datetime
    sort: str
    what: str
    text: str | None = None


def events_of(shown: LaptopPage) -> list[Event]:
    """Return a laptop's history, newest first."""
    view = shown.view
    events = [
        *_of_packs(view.packs),
        *alert_events(view.alerts),
        *(
            Event(
                change.measured_at,
                "Inventory",
                change_words(change.item, change.before, change.after),
            )
            for change in view.changes
        ),
        *_of_places(shown.places),
        *acts(shown.trail),
    ]
    if all(line.action != ENROLLED for line in shown.trail):
        events.append(Event(view.laptop.enrolled_at, "Laptop", "Enrolled"))
    return newest_first(events)


def newest_first(events: Sequence[Event]) -> list[Event]:
    """Return events in the order of a history."""
    return sorted(events, key=lambda event: event.at, reverse=True)


def acts(trail: Sequence[AuditLine]) -> Iterator[Event]:
    """Yield what people did."""
    for line in trail_lines(trail, named=True):
        what = line.what[:1].upper() + line.what[1:]
        yield Event(line.at, line.who, what, line.text)


def alert_events(alerts: Sequence[AlertRow]) -> Iterator[Event]:
    """Yield what the collector did with alerts; people's acts are in the trail."""
    for alert in alerts:
        name = f"{KIND_WORDS[alert.kind]} (alert {alert.id})"
        yield Event(alert.opened_at, "Alert", f"Opened: {name}{_wear_then(alert)}")
        if alert.ended_at is not None and alert.ended_by is None:
            why = alert.ended_because or "no reason noted"
            yield Event(alert.ended_at, "Alert", f"Ended: {name}. Reason: {why}")


def _wear_then(alert: AlertRow) -> str:
    # Reasons follow the newest readings; the figures of the opening stay as they were.
    wear = alert.figures_opened.get("wear_percent")
    return f", at {wear:.1f} % wear" if isinstance(wear, int | float) else ""


def _of_packs(stays: Sequence[PackStay]) -> Iterator[Event]:
    in_time_order = sorted(stays, key=lambda stay: (stay.slot, stay.from_at))
    before: PackStay | None = None
    for stay in in_time_order:
        if before is not None and before.slot == stay.slot:
            what = f"Swapped: {_name(before)} out, {_name(stay)} in"
        else:
            what = f"First seen: {_name(stay)}"
        yield Event(stay.from_at, f"Slot {stay.slot}", what)
        before = stay
    for stay in stays:
        if stay.until_at is not None and not _has_successor(stay, stays):
            what = f"Gone: {_name(stay)}"
            yield Event(stay.until_at, f"Slot {stay.slot}", what)


def _has_successor(stay: PackStay, stays: Sequence[PackStay]) -> bool:
    return any(
        other.slot == stay.slot and other.from_at > stay.from_at for other in stays
    )


def _name(stay: PackStay) -> str:
    return pack_name(stay.maker, stay.model, stay.serial)


def _of_places(moves: Sequence[PlaceMove]) -> Iterator[Event]:
    for move in moves:
        yield Event(
            move.at, move.who, f"Import: {place_words(move.before, move.after)}"
        )
        if move.undone_at is not None:
            yield Event(move.undone_at, move.undone_by or "", "That import was undone")


def place_words(
    before: Mapping[str, str | None], after: Mapping[str, str | None]
) -> str:
    """Say what changes in a laptop's asset tag, holder and site."""
    return "; ".join(
        f"{name.replace('_', ' ')} {before.get(name) or NOTHING_KNOWN} → "
        f"{value or NOTHING_KNOWN}"
        for name, value in after.items()
        if before.get(name) != value
    )
