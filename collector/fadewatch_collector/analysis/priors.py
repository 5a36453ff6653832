"""What a young pack borrows: its own pack type, else the fleet, else publications."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import CodeArray, FloatArray
from fadewatch_collector.analysis.figures import (
    DAYS_PER_MONTH,
    FADE_SOURCES,
    Assessments,
)
from fadewatch_common.fade import PUBLISHED_FADE_PER_MONTH

PUBLISHED_FADE = PUBLISHED_FADE_PER_MONTH / DAYS_PER_MONTH
"""Typical fade of a laptop pack [1/d]."""
PUBLISHED_SPREAD = 1.0
"""Standard deviation of the natural logarithm of fade; own choice.

Cells of published tests lose 0.2 to 8 % in 30 cycles, laptop packs kept on mains less.
"""
LEAST_PACKS_OF_TYPE = 5
LEAST_PACKS_OF_FLEET = 10
LEAST_SPREAD = 0.25
_TYPE, _FLEET, _PUBLISHED = (
    FADE_SOURCES.index(s) for s in ("own pack type", "fleet", "published figures")
)


@dataclass(frozen=True, slots=True, eq=False)
class Priors:
    """What to expect of each pack before its own history speaks.

    Parameters
    ----------
    fade
        Median fade of comparable packs [1/d].
    spread
        Standard deviation of the natural logarithm of their fade.
    source
        Code into `FADE_SOURCES`.
    """

    fade: FloatArray
    spread: FloatArray
    source: CodeArray


def published_priors(packs: int) -> Priors:
    """Return the published figures for each of ``packs`` packs."""
    return Priors(
        np.full(packs, PUBLISHED_FADE),
        np.full(packs, PUBLISHED_SPREAD),
        np.full(packs, _PUBLISHED, dtype=np.int8),
    )


def fleet_priors(known: Assessments, pack_types: Sequence[str] | None = None) -> Priors:
    """Pool the fade of packs that speak for themselves.

    Parameters
    ----------
    known
        Assessments of the whole fleet, made with any priors.
    pack_types
        Pack type of each pack; an empty one borrows from the fleet only.

    Returns
    -------
    Priors
        Per pack: of its own type if `LEAST_PACKS_OF_TYPE` packs of it are known,
        else of the fleet if `LEAST_PACKS_OF_FLEET` are, else the published figures.
    """
    priors = published_priors(len(known))
    own = (known.fade_source == 0) & (known.fade.estimate > 0)
    if own.sum() >= LEAST_PACKS_OF_FLEET:
        _pool(priors, known.fade.estimate, own, np.ones(len(known), np.bool_), _FLEET)
    names = np.asarray(pack_types if pack_types is not None else [""] * len(known))
    for name in np.unique(names[names != ""]):
        same = names == name
        if (own & same).sum() >= LEAST_PACKS_OF_TYPE:
            _pool(priors, known.fade.estimate, own & same, same, _TYPE)
    return priors


def _pool(
    priors: Priors, fade: FloatArray, known: FloatArray, packs: FloatArray, source: int
) -> None:
    priors.fade[packs], priors.spread[packs] = pool(fade[known])
    priors.source[packs] = source


def pool(fade: FloatArray) -> tuple[float, float]:
    """Return the median of fades, and the spread of their logarithms.

    Parameters
    ----------
    fade
        Fades of packs that speak for themselves, all above 0 [1/d].
    """
    logs = np.log(fade)
    middle = np.median(logs)
    # 1.4826 makes the median absolute deviation that of a normal distribution.
    spread = 1.4826 * np.median(np.abs(logs - middle))
    return float(np.exp(middle)), max(float(spread), LEAST_SPREAD)


def pools_by_type(fades: Mapping[str, FloatArray]) -> dict[str, tuple[float, float]]:
    """Return the pool of each pack type, and of the fleet under the empty name.

    Parameters
    ----------
    fades
        Fades of packs that speak for themselves, all above 0 [1/d], by pack type; those
        of no type under the empty name.
    """
    pools: dict[str, tuple[float, float]] = {}
    if sum(fade.size for fade in fades.values()) >= LEAST_PACKS_OF_FLEET:
        pools[""] = pool(np.concatenate(list(fades.values())))
    for name, fade in sorted(fades.items()):
        if name and fade.size >= LEAST_PACKS_OF_TYPE:
            pools[name] = pool(fade)
    return pools


def priors_from_pools(
    pools: Mapping[str, tuple[float, float]], pack_types: Sequence[str]
) -> Priors:
    """Return what each pack borrows from pools that were made before."""
    priors = published_priors(len(pack_types))
    for index, name in enumerate(pack_types):
        found = pools.get(name) if name else None
        source = _TYPE if found else _FLEET
        found = found or pools.get("")
        if found:
            priors.fade[index], priors.spread[index] = found
            priors.source[index] = source
    return priors
