"""Keep since when packs have been past their thresholds, and the fleet's common one."""

from collections.abc import Mapping, Sequence
from datetime import date
from math import isnan

import numpy as np

from fadewatch_collector.analysis.figures import Assessments, Thresholds
from fadewatch_collector.rules.passings import settle_passings
from fadewatch_collector.rules.reasons import to_date
from fadewatch_collector.store.passings import load_passings, save_passings
from fadewatch_collector.store.store import WriteConnection
from fadewatch_common.policy import Policy

Own = Sequence[tuple[Sequence[float], Sequence[float]]]
"""Of each of a pack's own thresholds: its level and the day it was crossed, by pack."""


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
    own = [
        (np.broadcast_to(level, len(figures)).tolist(), crossing.on.tolist())
        for level, crossing in (
            (thresholds.plan, figures.plan),
            (thresholds.replace, figures.replace),
        )
    ]
    new: dict[tuple[int, float], date] = {}
    withdrawn: list[tuple[int, float]] = []
    for index, pack_id in enumerate(pack_ids):
        if pack_id not in policies:
            continue
        changes = settle_passings(
            _known_wear(figures, index),
            _passed(figures, index, thresholds.common, own),
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
    figures: Assessments, index: int, common: float, own: Own
) -> dict[float, date]:
    wear = float(figures.wear[index])
    passed: dict[float, date] = {}
    common_on = float(figures.common_on[index])
    if not isnan(common_on):
        passed[common] = to_date(common_on)
    for levels, crossed_on in own:
        level, on = levels[index], crossed_on[index]
        if wear >= level and not isnan(on):
            passed[level] = to_date(on)
    return passed
