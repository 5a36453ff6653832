"""Texts that have to fit a place."""


def clipped(text: str, longest: int) -> str:
    """Cut a text that is longer than a place has room for [characters]."""
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"
