"""Cautions that go with a pack that must not be used.

Sources: paraphrased from advice of public bodies: US Fire Administration; NFPA tip
sheet; Seattle Fire Department; Kane County (IL). Damaged packs are forbidden by air:
49 CFR 173.185(f).
"""

STOP_USE_CAUTIONS: tuple[str, ...] = (
    "Stop using the laptop and switch it off.",
    "Unplug it, and do not charge the pack again.",
    "Do not press, bend, puncture or try to flatten the pack.",
    "If it is hot, smoking or hissing: leave, and call the fire service.",
    "Otherwise move it away from anything that burns.",
    "Do not post or fly a damaged pack.",
    "Hand it to trained staff or to a battery collection point.",
    "Local rules and the maker's service manual come first.",
)

BEFORE_OPENING = (
    "Before you open a laptop: switch it off, unplug it, discharge yourself, lay the "
    "screws out in order, keep the pack's cable; the maker's service manual comes first."
)
"""Said wherever a laptop is to be opened. Common practice at the bench, no source."""

IF_A_SIGN_IS_SEEN = (
    "If you see one: do not issue it, switch it off, do not charge it, and hand it to "
    "trained staff; local rules come first."
)
"""Said beside the signs to look for."""

FIGURES_ARE_A_PROXY = (
    "Figures come from the pack's own gauge. They cannot see swelling or damage, and "
    "they never show that a pack is safe."
)
"""Said wherever a verdict stands."""
