"""The words of alerts: kinds, urgencies and states, and how people read them."""

from collections.abc import Mapping
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

KIND_WORDS: Mapping[AlertKind, str] = {
    "wear-plan": "Plan a new pack",
    "wear-replace": "Replace the pack",
    "sudden-drop": "Sudden drop of capacity",
    "fast-fade": "Fading fast",
    "inspect": "Inspect the pack",
    "swelling-reported": "Swelling reported",
    "swap-to-confirm": "Confirm the swap",
    "wrong-pack": "Not the right pack",
    "gauge-doubt": "Gauge in doubt",
    "identity-clash": "Two laptops look like one",
    "hardware-changed": "Hardware changed",
    "silent": "No report",
}

URGENCY_WORDS: Mapping[Urgency, str] = {
    "stop-use": "Stop use",
    "act": "Act",
    "plan": "Plan",
    "note": "Note",
}
