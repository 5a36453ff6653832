"""The words of alerts: kinds, urgencies and states."""

from typing import Literal, get_args

AlertKind = Literal[
    "wear-plan",
    "wear-replace",
    "sudden-drop",
    "fast-fade",
    "inspect",
    "swelling-reported",
    "swap-to-confirm",
    "wrong-pack",
    "gauge-doubt",
    "identity-clash",
    "hardware-changed",
    "silent",
]
Urgency = Literal["stop-use", "act", "plan", "note"]
AlertState = Literal["open", "acknowledged", "planned", "ended"]

ALERT_KINDS: tuple[AlertKind, ...] = get_args(AlertKind)

URGENCIES: tuple[Urgency, ...] = get_args(Urgency)
"""Most urgent first; an urgency's place here is its rank."""

ALERT_STATES: tuple[AlertState, ...] = get_args(AlertState)

LIVE_STATES: tuple[AlertState, ...] = ("open", "acknowledged", "planned")
"""States of a matter that is not over."""
