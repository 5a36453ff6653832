"""What people may write: notes, reasons, places."""

import re

_UNSEEN = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
"""Characters that cannot be shown, or that a database refuses; lines may break."""


def note_problem(text: str, what: str, longest: int) -> str | None:
    """Say what is wrong with what a person wrote; None when it can be kept.

    Parameters
    ----------
    text
        Without blanks at its ends.
    what
        What to call it in the sentence.
    longest
        Most characters [count].
    """
    if not text:
        return f"the {what} is empty"
    if len(text) > longest:
        return f"the {what} is longer than {longest} characters"
    if _UNSEEN.search(text):
        return f"the {what} has characters that cannot be shown"
    return None
