"""The audit trail in words."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fadewatch_collector.rules.visit_terms import work_in_words
from fadewatch_collector.usecases.page_views import AuditLine
from fadewatch_collector.web.happenings import signs_in_words
from fadewatch_collector.web.policy_fields import (
    scope_words,
    setting_label,
    setting_words,
)

COLLECTOR = "the collector"
"""Who did what no person did."""


@dataclass(frozen=True, slots=True)
class TrailLine:
    """One line: when, who, what, and what they wrote."""

    at: datetime
    who: str
    what: str
    text: str | None = None


def trail_lines(
    lines: Iterable[AuditLine], *, named: bool, names: Mapping[str, str] | None = None
) -> list[TrailLine]:
    """Return lines of the audit trail in words, in their order.

    Parameters
    ----------
    named
        Say what a line is about.
    names
        What subjects are called, where their own name says little.
    """
    return [_line(line, named=named, names=names or {}) for line in lines]


def _line(line: AuditLine, *, named: bool, names: Mapping[str, str]) -> TrailLine:
    detail = line.detail or {}
    write = _WORDS.get(line.action)
    what, text = write(detail) if write else (line.action, None)
    about = names.get(line.subject) or _about(line)
    if named and about:
        what = f"{about}: {what}"
    return TrailLine(line.at, line.who, what, text)


def _about(line: AuditLine) -> str | None:
    kind, _, name = line.subject.partition(":")
    if kind == "policy":
        return scope_words(name)
    if kind in _NUMBERED:
        return f"{_NUMBERED[kind]} {name}"
    return None


_NUMBERED = {"alert": "alert", "token": "token", "api-token": "API token"}

Words = tuple[str, str | None]


def _planned(detail: Mapping[str, Any]) -> Words:
    return f"planned for {detail.get('planned_on', 'a day')}", None


def _handed_over(detail: Mapping[str, Any]) -> Words:
    return f"handed over to {detail.get('to', 'somebody')}", None


def _noted(detail: Mapping[str, Any]) -> Words:
    return "noted", _text(detail.get("text"))


def _ended(detail: Mapping[str, Any]) -> Words:
    return "ended", _text(detail.get("because"))


def _visit_planned(detail: Mapping[str, Any]) -> Words:
    return _visit_day("visit planned", detail)


def _visit_moved(detail: Mapping[str, Any]) -> Words:
    return _visit_day("visit moved", detail)


def _visit_day(what: str, detail: Mapping[str, Any]) -> Words:
    by = f", by {detail['to']}" if detail.get("to") else ""
    words = f"{what}, for {detail.get('planned_on', 'a day')}{by}"
    return words, _text(detail.get("note"))


def _visit_done(detail: Mapping[str, Any]) -> Words:
    work = work_in_words(detail.get("work") or ())
    return f"visit done: {work or 'work not told'}", _text(detail.get("note"))


def _visit_called_off(detail: Mapping[str, Any]) -> Words:
    return "visit called off", _text(detail.get("because"))


def _swap_confirmed(detail: Mapping[str, Any]) -> Words:
    return f"swap confirmed; the removed pack: {swollen(detail.get('swollen'))}", None


def _set_aside(detail: Mapping[str, Any]) -> Words:
    words = f"pack set aside: {detail.get('place', 'place not told')}"
    if "swollen" in detail:
        words += f", {swollen(detail['swollen'])}"
    return words, _text(detail.get("note"))


def _left(detail: Mapping[str, Any]) -> Words:
    return f"pack handed over: {detail.get('place', 'way not told')}", _text(
        detail.get("note")
    )


def _inspected(detail: Mapping[str, Any]) -> Words:
    signs = signs_in_words(detail.get("signs") or ())
    what = f"inspected, signs seen: {signs}" if signs else "inspected, no sign was seen"
    return what, _text(detail.get("note"))


def _policy(detail: Mapping[str, Any]) -> Words:
    before, after = detail.get("before") or {}, detail.get("after") or {}
    changes = [
        f"{setting_label(name)} {_setting(name, before)} → {_setting(name, after)}"
        for name in sorted({*before, *after})
        if before.get(name) != after.get(name)
    ]
    return "policy changed: " + ("; ".join(changes) or "nothing differs"), None


def _setting(name: str, values: Mapping[str, Any]) -> str:
    return setting_words(name, values[name]) if name in values else "as elsewhere"


def _role(detail: Mapping[str, Any]) -> Words:
    return f"role {detail.get('before')} → {detail.get('after')}", None


def _added(detail: Mapping[str, Any]) -> Words:
    return f"added as {detail.get('role')}", None


def _linked(detail: Mapping[str, Any]) -> Words:
    return "linked to the organisation's account", _text(detail.get("subject"))


def _labelled(what: str) -> Callable[[Mapping[str, Any]], Words]:
    def words(detail: Mapping[str, Any]) -> Words:
        return what, _text(detail.get("label"))

    return words


def _places(detail: Mapping[str, Any]) -> Words:
    return f"places imported: {detail.get('changed', '?')} laptops changed", None


_WORDS: Mapping[str, Callable[[Mapping[str, Any]], Words]] = {
    "planned": _planned,
    "handed over": _handed_over,
    "note": _noted,
    "ended": _ended,
    "visit planned": _visit_planned,
    "visit moved": _visit_moved,
    "visit done": _visit_done,
    "visit called off": _visit_called_off,
    "swap confirmed": _swap_confirmed,
    "pack set aside": _set_aside,
    "pack handed over": _left,
    "inspected": _inspected,
    "policy changed": _policy,
    "role set": _role,
    "linked": _linked,
    "operator added": _added,
    "token made": _labelled("made"),
    "token revoked": _labelled("revoked"),
    "API token made": _labelled("API token made"),
    "API token revoked": _labelled("revoked"),
    "places imported": _places,
}


def swollen(value: object) -> str:
    """Say whether a pack is swollen, as far as anybody has said."""
    if value is None:
        return "nobody has said whether it is swollen"
    return "swollen" if value else "not swollen"


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value else None
