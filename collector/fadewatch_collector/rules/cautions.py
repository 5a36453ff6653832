"""Cautions that go with a pack that must not be used: the agent says the same."""

from fadewatch_common.cautions import FIGURES_ARE_A_PROXY, STOP_USE_CAUTIONS

__all__ = [
    "BEFORE_OPENING_CAUTIONS",
    "FIGURES_ARE_A_PROXY",
    "ON_A_ROUND_CAUTION",
    "STOP_USE_CAUTIONS",
]

BEFORE_OPENING_CAUTIONS: tuple[str, ...] = (
    "Look for signs of swelling first; with any of them, do not open it.",
    "Switch the laptop off and unplug it.",
    "Discharge yourself: touch earthed metal, or wear a wrist strap.",
    "Lay the screws out in the order in which they came out.",
    "Unplug the pack before anything else inside; never pry, bend or puncture it.",
    "Keep the pack's cable: a new pack may come without one.",
    "The maker's service manual and local rules come first.",
)
"""Cautions for whoever opens a laptop. Common practice at the bench; no source."""

ON_A_ROUND_CAUTION = (
    "Do not open it on a round. Pull it from use now and hand it to trained staff."
)
