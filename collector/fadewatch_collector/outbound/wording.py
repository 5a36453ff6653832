"""The words of messages, for people who read them away from the pages."""

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import Any

from fadewatch_collector.rules.alert_terms import KIND_WORDS, URGENCY_WORDS
from fadewatch_collector.rules.cautions import FIGURES_ARE_A_PROXY, STOP_USE_CAUTIONS
from fadewatch_collector.rules.messages import Message, ToldAlert, one_line

_SUBJECT_LENGTH = 150
"""Longest subject [characters]: more is cut off by most readers. Own choice."""


def subject_of(message: Message) -> str:
    """Return the subject: one line, in which nothing is taken for an encoded word."""
    if message.what == "test":
        return "Fadewatch: a test message"
    if message.what == "digest":
        count = len(message.alerts) + message.more
        return f"Fadewatch: {count} to plan or note"
    (alert,) = message.alerts
    # Whoever reads a header decodes "=?...?=" in it, and line breaks come out of that.
    return one_line(
        f"{URGENCY_WORDS[alert.urgency]}: {KIND_WORDS[alert.kind]}, "
        f"{short_name(alert)}{_at_site(alert)}".replace("=?", "= ?"),
        _SUBJECT_LENGTH,
    )


def text_of(message: Message, pages: str) -> str:
    """Return the message as plain text.

    Parameters
    ----------
    pages
        Address under which people reach the pages, without a slash at the end.
    """
    if message.what == "test":
        lines = ["This is a test: messages of this route arrive.", "", pages]
    elif message.what == "digest":
        lines = list(_digest(message, pages))
    else:
        lines = list(_single(message.alerts[0], pages))
    route = one_line(message.route)
    lines += ["", "-- ", f"Sent by Fadewatch for the notification route: {route}"]
    return "\n".join(lines) + "\n"


def address_of(alert: ToldAlert, pages: str) -> str:
    """Return the address of the page that shows the alert with its evidence."""
    return f"{pages}/laptops/{alert.laptop_id}" if alert.laptop_id else f"{pages}/"


def short_name(alert: ToldAlert) -> str:
    """Return what a person calls the laptop."""
    known = [name for name in (alert.asset_tag, alert.hostname) if name]
    if not known and alert.laptop_id:
        known = [f"laptop {alert.laptop_id}"]
    return one_line(", ".join(known) or "a pack in no laptop", 80)


def _at_site(alert: ToldAlert) -> str:
    return f", {one_line(alert.site, 60)}" if alert.site else ""


def _single(alert: ToldAlert, pages: str) -> Iterator[str]:
    yield f"{URGENCY_WORDS[alert.urgency]}: {KIND_WORDS[alert.kind]}"
    yield ""
    yield from _facts(alert)
    yield from _part("Why", map(_sentence, alert.reasons))
    yield from _part("Figures", _figures(alert.figures))
    yield from ("", "What to do next", f"  {_sentence(alert.next_step)}")
    if alert.urgency == "stop-use":
        yield from _part("Cautions", STOP_USE_CAUTIONS)
    yield from ("", address_of(alert, pages), "", FIGURES_ARE_A_PROXY)


def _facts(alert: ToldAlert) -> Iterator[str]:
    facts = (
        ("Laptop", (alert.asset_tag, alert.hostname)),
        ("Model", (alert.laptop_maker, alert.laptop_model)),
        ("Serial", (alert.laptop_serial,)),
        ("Site", (alert.site,)),
        ("Holder", (alert.holder,)),
        ("Pack", (alert.pack_maker, alert.pack_model, alert.pack_serial)),
        ("Since", (alert.opened_at,)),
    )
    for name, parts in facts:
        known = [one_line(part, 80) for part in parts if part]
        if known:
            yield f"{name}: {' '.join(known)}"


def _sentence(said: str) -> str:
    """Return a sentence of ours, in which words of firmware may stand, harmless."""
    return one_line(said, 500)


def _part(title: str, lines: Iterable[str]) -> Iterator[str]:
    items = [f"  - {line}" for line in lines]
    if items:
        yield from ("", title, *items)


def _figures(figures: Mapping[str, Any]) -> Iterator[str]:
    for name, value in figures.items():
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            words, unit = name.replace("_", " "), ""
            if words.endswith(" percent"):
                words, unit = words.removesuffix(" percent"), " %"
            shown = f"{value:.1f}" if isinstance(value, float) else str(value)
            yield one_line(f"{words}: {shown}{unit}")


def _digest(message: Message, pages: str) -> Iterator[str]:
    yield "New since the last digest, and still open:"
    for urgency, alerts in groupby(message.alerts, lambda alert: alert.urgency):
        yield from ("", URGENCY_WORDS[urgency].upper())
        for site, here in groupby(alerts, lambda alert: alert.site):
            yield from ("", one_line(site) if site else "(no site)")
            for alert in here:
                yield from _entry(alert, pages)
    if message.more:
        yield from ("", f"and {message.more} more: {pages}/")
    yield from ("", FIGURES_ARE_A_PROXY)


def _entry(alert: ToldAlert, pages: str) -> Iterator[str]:
    state = ""
    if alert.state == "planned":
        state = f" (planned for {alert.planned_on})"
    elif alert.state == "acknowledged":
        state = " (acknowledged)"
    yield f"  {short_name(alert)}: {KIND_WORDS[alert.kind]}{state}"
    for reason in alert.reasons:
        yield f"    {_sentence(reason)}"
    yield f"    Next: {_sentence(alert.next_step)}"
    yield f"    {address_of(alert, pages)}"
