"""Assess a batch of packs: figures from histories, nothing else."""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from fadewatch_collector.analysis.arrays import (
    DayArray,
    FloatArray,
    Mask,
    SingleArray,
)
from fadewatch_collector.analysis.binning import Bins, bin_means
from fadewatch_collector.analysis.cleaning import Batch, prepare
from fadewatch_collector.analysis.course import Course, follow, level_now
from fadewatch_collector.analysis.drops import find_drops
from fadewatch_collector.analysis.fade import own_fade, with_prior
from fadewatch_collector.analysis.figures import (
    Assessments,
    Crossing,
    Knees,
    Spread,
    Thresholds,
    bands,
)
from fadewatch_collector.analysis.forecast import (
    LEAST_SPAN_DAYS,
    Outlook,
    forecast,
)
from fadewatch_collector.analysis.gauge import judge_gauges
from fadewatch_collector.analysis.knee import find_knees
from fadewatch_collector.analysis.medians import running_median_of_5
from fadewatch_collector.analysis.priors import Priors, published_priors
from fadewatch_collector.analysis.series import Histories
from fadewatch_collector.analysis.trajectories import BINS

DEFAULT_THRESHOLDS = Thresholds()
CELLS_AT_ONCE = 120_000
"""Readings worked on at once: they and what is made of them stay in fast memory."""
KNEE_BINS = 48


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
    days = np.broadcast_to(np.asarray(as_of, dtype=np.int32), packs)
    plan = np.broadcast_to(np.asarray(thresholds.plan, dtype=np.float64), packs)
    replace = np.broadcast_to(np.asarray(thresholds.replace, dtype=np.float64), packs)
    expected = priors or published_priors(packs)
    parts = [
        _assess(
            histories.some(start, stop),
            days[start:stop],
            Thresholds(plan[start:stop], replace[start:stop], thresholds.common),
            _some(expected, start, stop),
        )
        for start, stop in _chunks(histories)
    ]
    return _joined(parts)


def _chunks(histories: Histories) -> Iterator[tuple[int, int]]:
    """Cut the batch where the rectangle of readings would grow too large."""
    lengths = np.diff(histories.offsets)
    start, widest = 0, 1
    for index, length in enumerate(lengths.tolist()):
        widest_with = max(widest, length)
        if index > start and (index - start + 1) * widest_with > CELLS_AT_ONCE:
            yield start, index
            start, widest_with = index, length
        widest = widest_with
    yield start, len(histories)


def _some(priors: Priors, start: int, stop: int) -> Priors:
    return Priors(
        priors.fade[start:stop], priors.spread[start:stop], priors.source[start:stop]
    )


def _assess(
    histories: Histories, as_of: DayArray, thresholds: Thresholds, priors: Priors
) -> Assessments:
    batch = prepare(histories, as_of)
    drops = find_drops(batch)
    course = follow(batch, drops)
    trust = judge_gauges(batch)
    own = own_fade(batch, course)
    fade = with_prior(batch, course, own, priors)
    seen = batch.count > 0
    wear = np.where(seen, 1.0 - level_now(batch, course, fade.sure), np.nan)
    trusted = seen & ~trust.frozen
    level = running_median_of_5(batch.health)
    crossings = _crossings(batch, course, level, wear, trusted, thresholds, priors)
    ends = np.where(seen, batch.day[:, [0, -1]].T, -1).astype(np.int32)
    return Assessments(
        pack_ids=histories.pack_ids,
        as_of=as_of,
        readings=batch.count,
        first_day=ends[0],
        last_day=ends[1],
        wear=wear,
        band=bands(np.where(trusted, wear, np.nan), thresholds),
        fade=_only(fade.daily, trusted),
        fade_per_cycle=_only(fade.per_cycle, trusted),
        fade_source=fade.source,
        own_fade=np.where(trusted & np.isfinite(own.deviation), own.rate, np.nan),
        plan=crossings[0],
        replace=crossings[1],
        common_on=np.where(
            trusted & (wear >= thresholds.common),
            _passed_on(batch, level, np.full(len(wear), thresholds.common)),
            np.nan,
        ),
        drop=drops,
        knee=_knees(batch, course),
        gauge=trust.code,
        gauge_since=trust.since,
        noise=np.where(seen, batch.noise, np.nan),
        cycles=np.where(seen, batch.cycles[:, -1], np.nan).astype(np.float64),
    )


def _knees(batch: Batch, course: Course) -> Knees:
    bins = _whole(batch, course, KNEE_BINS, course.start)
    return find_knees(bins, course.start, batch.noise)


def _whole(batch: Batch, course: Course, count: int, start: FloatArray) -> Bins:
    now = batch.day[:, -1].astype(np.float64)
    return bin_means(batch.day, course.health, course.use, start, now, count)


def _crossings(
    batch: Batch,
    course: Course,
    level: SingleArray,
    wear: FloatArray,
    trusted: Mask,
    thresholds: Thresholds,
    priors: Priors,
) -> tuple[Crossing, Crossing]:
    now = batch.day[:, -1].astype(np.float64)
    span = np.maximum(now - course.start, LEAST_SPAN_DAYS)
    bins = _whole(batch, course, BINS, now - span)
    outlook = Outlook(
        now=now,
        span=span,
        wear=np.nan_to_num(wear),
        seen=1.0 - bins.value,
        count=bins.count,
        noise=batch.noise,
        fade=priors.fade,
        fade_spread=priors.spread,
    )
    limits = np.asarray(thresholds.plan), np.asarray(thresholds.replace)
    plan, replace = (
        _only(_passed(batch, level, wear, limit, expected), trusted)
        for limit, expected in zip(limits, forecast(outlook, *limits), strict=True)
    )
    return plan, replace


def _passed(
    batch: Batch,
    level: SingleArray,
    wear: FloatArray,
    threshold: FloatArray,
    forecast: Crossing,
) -> Crossing:
    """Put the day it happened in place of a forecast where wear is past already."""
    day = _passed_on(batch, level, threshold)
    past = wear >= threshold
    return Crossing(
        np.where(past, day, forecast.on),
        np.where(past, day, forecast.earliest),
        np.where(past, day, forecast.latest),
    )


def _passed_on(batch: Batch, level: SingleArray, threshold: FloatArray) -> FloatArray:
    """Return the day of the first reading after the last that was not yet past."""
    above = batch.real & (level > 1.0 - threshold[:, None])
    columns = level.shape[1]
    after = np.where(
        above.any(axis=1),
        columns - np.argmax(above[:, ::-1], axis=1),
        columns - batch.count,
    )
    column = np.clip(after, 0, columns - 1)
    day: FloatArray = batch.day[np.arange(len(column)), column].astype(np.float64)
    return day


Figures = TypeVar("Figures", Crossing, Spread)


def _only(figures: Figures, known: Mask) -> Figures:
    """Blank the figures of packs about which nothing can be said."""
    return type(figures)(
        *(np.where(known, getattr(figures, f.name), np.nan) for f in fields(figures))
    )


def _joined(parts: list[Assessments]) -> Assessments:
    """Put the parts of a batch one after another."""
    if len(parts) == 1:
        return parts[0]
    whole: Assessments = _concatenated(parts)
    return whole


def _concatenated(parts: Sequence[Any]) -> Any:
    first = parts[0]
    if isinstance(first, tuple):
        return tuple(name for part in parts for name in part)
    if isinstance(first, np.ndarray):
        return np.concatenate(parts)
    return type(first)(
        *(_concatenated([getattr(p, f.name) for p in parts]) for f in fields(first))
    )
