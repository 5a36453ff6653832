"""Keep since when packs have been past their thresholds, and the fleet's common one."""

from collections.abc import Mapping
from datetime import date
from math import isnan

import numpy as np

from fadewatch_collector.analysis.figures import Assessments, Crossing, Thresholds
from fadewatch_collector.rules.passings import settle_passings
from fadewatch_collector.rules.reasons import to_date
from fadewatch_collector.store.passings import load_passings, save_passings
from fadewatch_collector.store.store import WriteConnection
from fadewatch_common.policy import Policy


async def keep_passings(
    connection: WriteConnection,
    pack_ids: list[int],
    figures: Assessments,
    thresholds: Thresholds,
    policies: Mapping[int, Policy],
) -> None:
    """Bring the passings of packs up to what their assessments say.

    Parameters
    ----------
    figures
        Of the packs, in the order of ``pack_ids``, made with ``thresholds``.
    """
    known = await load_passings(connection, pack_ids)
    new: dict[tuple[int, float], date] = {}
    withdrawn: list[tuple[int, float]] = []
    for index, pack_id in enumerate(pack_ids):
        if pack_id not in policies:
            continue
        changes = settle_passings(
            _known_wear(figures, index),
            _passed(figures, index, thresholds),
            known.get(pack_id, {}),
            policies[pack_id].hysteresis_wear,
        )
        new |= {(pack_id, level): on for level, on in changes.new.items()}
        withdrawn += [(pack_id, level) for level in changes.withdrawn]
    await save_passings(connection, new, withdrawn)


def _known_wear(figures: Assessments, index: int) -> float | None:
    # Band 0 is unknown: a frozen gauge tells a wear that says nothing.
    return float(figures.wear[index]) if figures.band[index] else None


def _passed(
    figures: Assessments, index: int, thresholds: Thresholds
) -> dict[float, date]:
    wear = float(figures.wear[index])
    passed: dict[float, date] = {}
    common_on = float(figures.common_on[index])
    if not isnan(common_on):
        passed[thresholds.common] = to_date(common_on)
    for level, crossing in _own(figures, thresholds, index):
        on = float(crossing.on[index])
        if wear >= level and not isnan(on):
            passed[level] = to_date(on)
    return passed


def _own(
    figures: Assessments, thresholds: Thresholds, index: int
) -> tuple[tuple[float, Crossing], tuple[float, Crossing]]:
    plan, replace = (
        float(np.broadcast_to(level, len(figures))[index])
        for level in (thresholds.plan, thresholds.replace)
    )
    return (plan, figures.plan), (replace, figures.replace)
