"""The figures behind an alert in words: at its opening, and now."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fadewatch_collector.web.happenings import signs_in_words
from fadewatch_collector.web.words import NOTHING_KNOWN

_NAMES = {
    "wear_percent": "Wear",
    "drop_percent": "Sudden drop, of design capacity",
    "readings": "Daily values",
    "as_of": "Assessed on",
    "signs": "Signs seen",
    "last_report_at": "Last report",
}
"""Names of figures, in the order shown."""

DAY_LENGTH = 10
"""Characters of a moment that say the day [count]."""


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure, at the opening of an alert and now."""

    name: str
    opened: str
    now: str


def figure_rows(
    opened: Mapping[str, Any], now: Mapping[str, Any]
) -> Sequence[FigureRow]:
    """Return the figures that are known, in a steady order."""
    names = [*_NAMES, *sorted({*opened, *now} - _NAMES.keys())]
    return [
        FigureRow(
            _NAMES.get(name, name.replace("_", " ")),
            _words(name, opened.get(name)),
            _words(name, now.get(name)),
        )
        for name in names
        if opened.get(name) is not None or now.get(name) is not None
    ]


def _words(name: str, value: Any) -> str:
    if value is None:
        return NOTHING_KNOWN
    if isinstance(value, list):
        return signs_in_words([str(item) for item in value])
    if name.endswith("_percent") and isinstance(value, int | float):
        return f"{value:.1f} %"
    if name.endswith("_at"):
        return str(value)[:DAY_LENGTH]
    return str(value)
