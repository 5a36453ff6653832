"""Every pack of the fleet as arrays, so that a million of them take little memory."""

from collections.abc import Iterable, Sequence
from contextlib import aclosing
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Select, and_, case, func, select
from sqlalchemy.ext.asyncio import AsyncConnection

from fadewatch_collector.analysis.arrays import CodeArray, CountArray, FloatArray, Mask
from fadewatch_collector.analysis.figures import BANDS
from fadewatch_collector.rules.pack_types import Described
from fadewatch_collector.store.fleet_view import OWN_HISTORY, TYPE_FIELDS
from fadewatch_collector.store.raw_rows import day_numbers, stream_raw_rows
from fadewatch_collector.store.tables import (
    assessments,
    laptops,
    packs,
    slot_stays,
    threshold_passings,
)

CHUNK = 5_000
"""Packs read at a time [count]. Own choice."""

_DAYS = (
    "plan_earliest",
    "plan_on",
    "plan_latest",
    "replace_earliest",
    "replace_on",
    "replace_latest",
)


@dataclass(frozen=True, slots=True, eq=False)
class FleetArrays:
    """What is known of the packs of a fleet, each once, by number.

    Days are counted since 1970-01-01 [d]; NaN where there is none.

    Attributes
    ----------
    said, described
        What packs say of themselves, each once, and the place of each pack's own.
    site, sites
        Sites by name, each once, and the place of each pack's: that of the laptop it is
        in; None also stands for a pack that is in none.
    band
        Code into `BANDS`.
    fade
        Own fade [fraction a month]; NaN unless its history speaks for itself.
    passed
        Day since which it is past the threshold common to all; NaN: it is not.
    ahead
        Forecasts by the column's name, such as ``plan_on``.
    """

    described: Sequence[Described]
    said: CountArray
    sites: Sequence[str | None]
    site: CountArray
    is_in_slot: Mask
    band: CodeArray
    made: FloatArray
    first_seen: FloatArray
    last_seen: FloatArray
    passed: FloatArray
    fade: FloatArray
    ahead: dict[str, FloatArray]

    def __len__(self) -> int:
        """Count the packs."""
        return self.said.size


async def read_packs(connection: AsyncConnection, common: float) -> FleetArrays:
    """Read every pack, wherever it is.

    Parameters
    ----------
    common
        The threshold at which packs of all sites are compared, a fraction.
    """
    said, sites = _Numbers(), _Numbers()
    async with aclosing(stream_raw_rows(connection, _query(common), CHUNK)) as chunks:
        parts = [_columns(rows, said, sites) async for rows in chunks]
    parts = parts or [_columns([], said, sites)]
    whole = {
        name: np.concatenate([part.pop(name) for part in parts])
        for name in list(parts[0])
    }
    number = whole.pop("id")
    # A pack that two slots claim comes twice, one after the other.
    last = np.append(number[1:] != number[:-1], True)[: number.size]
    known = {name: values[last] for name, values in whole.items()}
    return FleetArrays(
        described=[Described(*one) for one in said.known],
        sites=list(sites.known),
        ahead={name: known.pop(name) for name in _DAYS},
        **known,
    )


class _Numbers:
    """Values numbered in the order in which they are first seen."""

    def __init__(self) -> None:
        self.known: dict[Any, int] = {}

    def of(self, values: Iterable[Any]) -> CountArray:
        """Return the number of each value."""
        known = self.known
        return np.array(
            [known.setdefault(value, len(known)) for value in values], dtype=np.int64
        )


def _query(common: float) -> Select[Any]:
    known, passing = assessments.c, threshold_passings.c
    here = and_(slot_stays.c.pack_id == packs.c.id, slot_stays.c.until_at.is_(None))
    return (
        select(
            packs.c.id,
            slot_stays.c.id.is_not(None),
            laptops.c.site,
            packs.c.made_on,
            packs.c.first_seen_at,
            packs.c.last_seen_at,
            func.coalesce(known.band, "unknown"),
            case((known.fade_source == OWN_HISTORY, known.own_fade_per_month)),
            passing.passed_on,
            *(known[name] for name in _DAYS),
            *(packs.c[name] for name in TYPE_FIELDS),
        )
        .outerjoin(slot_stays, here)
        .outerjoin(laptops, laptops.c.id == slot_stays.c.laptop_id)
        .outerjoin(assessments, known.pack_id == packs.c.id)
        .outerjoin(
            threshold_passings,
            and_(passing.pack_id == packs.c.id, passing.threshold == common),
        )
        .order_by(packs.c.id)
    )


_FIRST = 9
"""Columns of the query before the days of forecasts."""
_CODES = {band: code for code, band in enumerate(BANDS)}


def _columns(
    rows: Sequence[Sequence[Any]], said: _Numbers, sites: _Numbers
) -> dict[str, Any]:
    width = _FIRST + len(_DAYS) + len(TYPE_FIELDS)
    columns = list(zip(*rows, strict=True)) or [()] * width
    number, in_slot, site, made, first, last, band, fade, passed = columns[:_FIRST]
    ahead = columns[_FIRST : _FIRST + len(_DAYS)]
    return {
        "id": np.array(number, dtype=np.int64),
        "is_in_slot": np.array(in_slot, dtype=np.bool_),
        "site": sites.of(site),
        "made": day_numbers(made),
        "first_seen": day_numbers(first),
        "last_seen": day_numbers(last),
        "band": np.array([_CODES[one] for one in band], dtype=np.int8),
        "fade": np.array(fade, dtype=np.float64),
        "passed": day_numbers(passed),
        "said": said.of(zip(*columns[_FIRST + len(_DAYS) :], strict=True)),
        **{name: day_numbers(days) for name, days in zip(_DAYS, ahead, strict=True)},
    }
