"""What a bench check says: remarks, each a sentence with its figure."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Severity = Literal["stops", "remark", "note"]
"""``stops``: not ready until it is settled; ``note``: in order, or only to know."""

Kind = Literal[
    "wear",
    "service",
    "gauge",
    "charge",
    "charging",
    "voltage",
    "temperature",
    "identity",
    "new-pack",
    "no-pack",
    "memory",
    "drive",
    "alert",
    "reading",
]

Figure = float | int | str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """One thing found.

    Attributes
    ----------
    slot
        Slot of the pack it is about; None: the laptop.
    figures
        The figures of the sentence, by name with their unit.
    look_first
        It may go with a pack that swells: look for signs before anything else.
    """

    kind: Kind
    severity: Severity
    sentence: str
    slot: str | None = None
    figures: Mapping[str, Figure] = field(default_factory=dict)
    look_first: bool = False


def rounded(fraction: float | None) -> float | None:
    """Return a fraction in percent for the figures of a remark."""
    return None if fraction is None else round(100 * fraction, 2)
