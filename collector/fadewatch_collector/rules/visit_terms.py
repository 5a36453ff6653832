"""The words of visits: states, what can be done, and what makes a laptop due."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Literal, get_args

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.alert_terms import AlertKind
from fadewatch_collector.rules.assessment import Concern

VisitState = Literal["planned", "done", "called off"]
Work = Literal["pack", "memory", "drive", "cleaned", "hinges", "cable", "nothing"]

VISIT_STATES: tuple[VisitState, ...] = get_args(VisitState)

WORK_WORDS: Mapping[Work, str] = {
    "pack": "pack changed",
    "memory": "memory added or changed",
    "drive": "drive changed",
    "cleaned": "fan and dust cleaned",
    "hinges": "hinge screws tightened",
    "cable": "the pack's cable kept",
    "nothing": "looked at, nothing found",
}
"""What was done at a visit, in the order of a sheet."""

DUE_BANDS: tuple[Band, ...] = ("plan", "replace")
DUE_CONCERNS: tuple[Concern, ...] = ("replace", "inspect", "stop-use")

HANDS_ON_KINDS: tuple[AlertKind, ...] = (
    "wear-plan",
    "wear-replace",
    "sudden-drop",
    "inspect",
    "swelling-reported",
    "swap-to-confirm",
    "wrong-pack",
    "gauge-doubt",
    "identity-clash",
)
"""Kinds of alert that somebody has to go to the laptop for."""

HORIZONS: tuple[int, ...] = (0, 30, 90, 180, 365)
"""How far ahead a list looks [day]. Own choice."""

DEFAULT_HORIZON = 30
FARTHEST_HORIZON = 3650
"""A forecast ends after ten years [day]."""


def due_until(today: date, within_days: int) -> date:
    """Return the last day on which a crossing still makes a laptop due."""
    return today + timedelta(days=within_days)


def work_in_words(work: Sequence[str]) -> str:
    """Join what was done; a word that is not known any more stands as it was kept."""
    words = {str(word): said for word, said in WORK_WORDS.items()}
    return ", ".join(words.get(one, one) for one in work)
