"""Assess a batch of packs: figures from histories, nothing else."""

import numpy as np
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.figures import (
    Assessments,
    Crossing,
    Drops,
    Knees,
    Spread,
    Thresholds,
    bands,
)
from fadewatch_collector.analysis.priors import Priors, published_priors
from fadewatch_collector.analysis.series import Histories

DEFAULT_THRESHOLDS = Thresholds()


def assess(
    histories: Histories,
    as_of: ArrayLike,
    thresholds: Thresholds = DEFAULT_THRESHOLDS,
    priors: Priors | None = None,
) -> Assessments:
    """Assess every pack as of a day.

    Parameters
    ----------
    histories
        Readings of the packs.
    as_of
        Day of the assessment [d since 1970-01-01], one for all or one per pack.
        Readings after it are not looked at.
    thresholds
        Wear at which packs are planned for and replaced.
    priors
        What comparable packs did; the published figures if left out.

    Returns
    -------
    Assessments
        Figures of every pack, in the order of ``histories``.
    """
    packs = len(histories)
    chosen = priors or published_priors(packs)
    day = np.broadcast_to(np.asarray(as_of, dtype=np.int32), packs)
    nothing = np.full(packs, np.nan)
    spread = Spread(nothing, nothing, nothing)
    wear = nothing.copy()
    first, last = np.full((2, packs), -1, dtype=np.int32)
    count = np.zeros(packs, dtype=np.int64)
    for i in range(packs):
        one = histories.one(i)
        use = (one.day <= day[i]) & (one.full > 0) & (one.design > 0)
        if use.any():
            wear[i] = np.median(1.0 - (one.full[use] / one.design[use])[-7:])
            first[i], last[i] = one.day[use][[0, -1]]
            count[i] = use.sum()
    return Assessments(
        pack_ids=histories.pack_ids,
        as_of=day,
        readings=count,
        first_day=first,
        last_day=last,
        wear=wear,
        band=bands(wear, thresholds),
        fade=spread,
        fade_per_cycle=spread,
        fade_source=chosen.source,
        plan=Crossing(nothing, nothing, nothing),
        replace=Crossing(nothing, nothing, nothing),
        drop=Drops(nothing, nothing, np.zeros(packs, dtype=np.bool_), nothing),
        knee=Knees(nothing, nothing, nothing),
        gauge=np.zeros(packs, dtype=np.int8),
        gauge_since=nothing,
        noise=nothing,
        cycles=nothing,
    )
