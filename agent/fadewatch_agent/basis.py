"""What a bench check rests on beside the reading."""

from typing import NamedTuple

from fadewatch_common.bench.facts import BenchFigures


class Basis(NamedTuple):
    """Figures, with where they are from.

    Attributes
    ----------
    source
        "asked", "kept" or "built-in".
    why_not_asked
        What kept the collector from answering; None when it did.
    """

    figures: BenchFigures
    source: str
    why_not_asked: str | None
