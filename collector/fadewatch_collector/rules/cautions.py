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

FIGURES_ARE_A_PROXY = (
    "Figures come from the pack's own gauge. They cannot see swelling or damage, and "
    "they never show that a pack is safe."
)
