"""Assess the packs of a file together, so that young ones borrow from the others."""

from collections.abc import Callable, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from fadewatch_collector.analysis.arrays import CountArray
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.analysis.priors import Priors, fleet_priors
from fadewatch_collector.analysis.series import Histories
from fadewatch_common.policy import DEFAULT_POLICY

BATCH = 2_000
"""Packs assessed at once, to bound memory and to show progress. Own choice."""

THRESHOLDS = Thresholds(
    plan=DEFAULT_POLICY.plan_wear, replace=DEFAULT_POLICY.replace_wear
)

Advance = Callable[[int], object]


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
    alone = _in_batches(histories, as_of, thresholds, None, advance)
    young = np.flatnonzero(alone.fade_source != 0)
    if young.size == 0 or young.size == len(alone):
        return alone
    priors = fleet_priors(alone)
    borrowed = Priors(priors.fade[young], priors.spread[young], priors.source[young])
    again = _in_batches(select(histories, young), as_of, thresholds, borrowed, None)
    told: Assessments = _with_rows(alone, again, young)
    return told


def select(
    histories: Histories, packs: CountArray, until: int | None = None
) -> Histories:
    """Return some packs of a batch, in the order given.

    Parameters
    ----------
    packs
        Their positions.
    until
        Last day to keep [d since 1970-01-01]; all when None.
    """
    start, end = histories.offsets[packs], histories.offsets[packs + 1]
    if until is not None:
        end = start + _counts_until(histories, until)[packs]
    offsets = np.concatenate([[0], np.cumsum(end - start)])
    entry = np.arange(offsets[-1]) + np.repeat(start - offsets[:-1], end - start)
    return Histories(
        tuple(histories.pack_ids[pack] for pack in packs.tolist()),
        offsets,
        histories.day[entry],
        histories.full[entry],
        histories.design[entry],
        histories.cycles[entry],
    )


def _counts_until(histories: Histories, until: int) -> CountArray:
    reached = np.concatenate([[0], np.cumsum(histories.day <= until)])
    counts: CountArray = np.diff(reached[histories.offsets])
    return counts


def _in_batches(
    histories: Histories,
    as_of: int,
    thresholds: Thresholds,
    priors: Priors | None,
    advance: Advance | None,
) -> Assessments:
    parts = []
    for start in range(0, max(len(histories), 1), BATCH):
        stop = min(start + BATCH, len(histories))
        own = priors and Priors(
            priors.fade[start:stop],
            priors.spread[start:stop],
            priors.source[start:stop],
        )
        parts.append(assess(histories.some(start, stop), as_of, thresholds, own))
        if advance is not None:
            advance(stop - start)
    whole: Assessments = _joined(parts)
    return whole


def only_rows(figures: Assessments, rows: CountArray) -> Assessments:
    """Return the figures of some packs, by their positions."""
    if rows.size == len(figures):
        return figures
    some: Assessments = _only(figures, rows)
    return some


# These walk through records of arrays whatever their fields are called; no type says
# "a record like this one, of arrays".
def _joined(parts: Sequence[Any]) -> Any:
    """Put records of arrays one after the other, field by field."""
    first = parts[0]
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
