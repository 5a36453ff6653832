"""The physical signs that a person looks for, on the bench and at an inspection."""

from collections.abc import Mapping

SIGNS: Mapping[str, str] = {
    "rocks": "it rocks on a flat table",
    "touchpad": "the touchpad is raised, stuck or hard to click",
    "gap": "the lid or the bottom no longer closes flush",
    "keyboard": "the keyboard bulges",
    "smell": "it smells sweet or of solvent",
    "heat": "it gets hot near the pack without reason",
    "hissing": "it hisses or crackles",
}
"""Signs of a swollen or damaged pack, by the name that forms send.

From advice of public bodies (US Fire Administration, NFPA, Seattle Fire Department:
change of shape, odour, heat, leak, noise) and common practice at the bench.
"""

NOT_A_PROOF = (
    "No sign was seen. That is kept with its date; it does not show that the pack is "
    "free of damage."
)
