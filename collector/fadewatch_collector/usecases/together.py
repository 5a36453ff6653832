"""Assess the packs of a file together, so that young ones borrow from the others."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray, DayArray
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import (
    FADE_SOURCES,
    Assessments,
    Thresholds,
)
from fadewatch_collector.analysis.priors import Priors, fleet_priors
from fadewatch_collector.analysis.series import Histories
from fadewatch_common.policy import DEFAULT_POLICY

BATCH = 2_000
"""Packs assessed at once, to bound memory and to show progress. Own choice."""

THRESHOLDS = Thresholds(
    plan=DEFAULT_POLICY.plan_wear, replace=DEFAULT_POLICY.replace_wear
)

Advance = Callable[[int], object]
_OWN = FADE_SOURCES.index("own history")
_PUBLISHED = FADE_SOURCES.index("published figures")


def assess_together(
    histories: Histories,
    as_of: int,
    *,
    thresholds: Thresholds = THRESHOLDS,
    advance: Advance | None = None,
) -> Assessments:
    """Assess every pack as of a day; nothing later is looked at.

    A pack whose own history does not tell its fade yet is assessed again with what
    the other packs have told by that day.

    Parameters
    ----------
    as_of
        Day of the assessment [d since 1970-01-01].
    advance
        Called with the number of packs done since it was last called.
    """
    packs = len(histories)
    days = np.full(packs, as_of, dtype=np.int32)
    return assess_groups(histories, days, [packs], thresholds, advance)


def assess_groups(
    histories: Histories,
    as_of: DayArray,
    sizes: Iterable[int],
    thresholds: Thresholds = THRESHOLDS,
    advance: Advance | None = None,
) -> Assessments:
    """Assess several groups of packs at once; only those of one group borrow.

    Parameters
    ----------
    histories
        The packs, group after group.
    as_of
        Day of each pack's assessment [d since 1970-01-01], one within a group.
    sizes
        Packs in each group.
    """
    alone = _in_batches(histories, as_of, thresholds, None, advance)
    priors = _priors(alone, sizes)
    young = (alone.fade_source != _OWN) & (priors.source != _PUBLISHED)
    rows = np.flatnonzero(young)
    if rows.size == 0:
        return alone
    borrowed = _some_priors(priors, rows)
    again = _in_batches(select(histories, rows), as_of[rows], thresholds, borrowed)
    told: Assessments = _with_rows(alone, again, rows)
    return told


def _priors(alone: Assessments, sizes: Iterable[int]) -> Priors:
    ends = np.cumsum(list(sizes))
    groups = np.split(np.arange(len(alone)), ends[:-1])
    told: Priors = _joined([fleet_priors(only_rows(alone, rows)) for rows in groups])
    return told


def _some_priors(priors: Priors, rows: CountArray | slice) -> Priors:
    return Priors(priors.fade[rows], priors.spread[rows], priors.source[rows])


def select(
    histories: Histories, packs: CountArray, end: CountArray | None = None
) -> Histories:
    """Return some packs of a batch, in the order given; one may stand there twice.

    Parameters
    ----------
    packs
        Their positions.
    end
        Where the entries to keep of each of them end; all entries when None.
    """
    start = histories.offsets[packs]
    lengths = (histories.offsets[packs + 1] if end is None else end) - start
    offsets = np.concatenate([[0], np.cumsum(lengths)])
    entry = np.arange(offsets[-1]) + np.repeat(start - offsets[:-1], lengths)
    return Histories(
        tuple(histories.pack_ids[pack] for pack in packs.tolist()),
        offsets,
        histories.day[entry],
        histories.full[entry],
        histories.design[entry],
        histories.cycles[entry],
    )


def only_rows(figures: Assessments, rows: CountArray) -> Assessments:
    """Return the figures of some packs, by their positions."""
    some: Assessments = _only(figures, rows)
    return some


def _in_batches(
    histories: Histories,
    as_of: DayArray,
    thresholds: Thresholds,
    priors: Priors | None,
    advance: Advance | None = None,
) -> Assessments:
    parts = []
    for start in range(0, len(histories), BATCH):
        batch = slice(start, min(start + BATCH, len(histories)))
        own = priors and _some_priors(priors, batch)
        some = histories.some(batch.start, batch.stop)
        parts.append(assess(some, as_of[batch], thresholds, own))
        if advance is not None:
            advance(len(some))
    whole: Assessments = _joined(parts)
    return whole


# These walk through records of arrays whatever their fields are called; no type says
# "a record like this one, of arrays".
def _joined(parts: Sequence[Any]) -> Any:
    """Put records of arrays one after the other, field by field."""
    first = parts[0]
    if len(parts) == 1:
        return first
    if isinstance(first, tuple):
        return tuple(item for part in parts for item in part)
    if isinstance(first, np.ndarray):
        return np.concatenate(parts)
    names = [field.name for field in fields(first)]
    return type(first)(*(_joined([getattr(p, n) for p in parts]) for n in names))


def _with_rows(whole: Any, part: Any, rows: CountArray) -> Any:
    """Return a record of arrays with some rows taken from another, field by field."""
    if isinstance(whole, tuple):
        return whole
    if isinstance(whole, np.ndarray):
        changed = whole.copy()
        changed[rows] = part
        return changed
    names = [field.name for field in fields(whole)]
    return type(whole)(
        *(_with_rows(getattr(whole, n), getattr(part, n), rows) for n in names)
    )


def _only(whole: Any, rows: CountArray) -> Any:
    if isinstance(whole, tuple):
        return tuple(whole[row] for row in rows.tolist())
    if isinstance(whole, np.ndarray):
        return whole[rows]
    names = [field.name for field in fields(whole)]
    return type(whole)(*(_only(getattr(whole, n), rows) for n in names))
