"""What the fleet view shows: read from what the clock has worked out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from fadewatch_collector.rules.compared_types import ComparedGroup
from fadewatch_collector.rules.fleet_outlook import (
    ExpectedGroup,
    ExpectedMonth,
    HeldRow,
)
from fadewatch_collector.rules.fleet_shares import DIMENSIONS, Dimension, Share
from fadewatch_collector.rules.held import ThresholdName
from fadewatch_collector.store import fleet_packs
from fadewatch_collector.store.fleet_packs import PackOfType
from fadewatch_collector.store.fleet_view import kept_figures
from fadewatch_collector.usecases.fleet_figures import (
    EXPECTED,
    FIGURES,
    HELD,
    SHARES,
    SMALL_FLEET,
    TYPES,
    sum_up_fleet,
)
from fadewatch_collector.usecases.services import Services

__all__ = ["FleetView", "PackOfType", "fleet_view", "packs_of_group"]

FRESH_FOR = timedelta(minutes=10)
"""How old the figures of such a fleet may be. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetView:
    """The whole fleet as of a moment.

    Attributes
    ----------
    quarter_end
        The day up to which ``groups`` look.
    """

    made_at: datetime
    whole: Share
    shares: Mapping[Dimension, Sequence[Share]]
    months: Sequence[ExpectedMonth]
    groups: Sequence[ExpectedGroup]
    quarter_end: date
    held: Sequence[HeldRow]
    types: Sequence[ComparedGroup]

    def expected(self, threshold: ThresholdName) -> list[ExpectedMonth]:
        """Return the months of one threshold."""
        return [month for month in self.months if month.threshold == threshold]

    def fast(self) -> list[ComparedGroup]:
        """Return the types and batches that fade unusually fast."""
        return [group for group in self.types if group.verdict == "fast"]


async def fleet_view(services: Services) -> FleetView:
    """Return the newest figures; where there are none they are worked out at once."""
    found = await _kept(services)
    if found is None or _is_stale(found, services.clock()):
        await sum_up_fleet(services)
        found = await _kept(services) or found
    if found is None:
        raise RuntimeError("the figures that were just kept are not there")
    return found


async def packs_of_group(
    services: Services, key: str, made: str | None, limit: int
) -> Sequence[PackOfType]:
    """Return the packs in slots of a type, or of one batch of it, most worn first."""
    async with services.store.reading() as connection:
        return await fleet_packs.packs_of_type(connection, key, made, limit)


def _is_stale(view: FleetView, now: datetime) -> bool:
    return view.whole.packs <= SMALL_FLEET and now - view.made_at > FRESH_FOR


async def _kept(services: Services) -> FleetView | None:
    async with services.store.reading() as connection:
        kept = await kept_figures(connection, FIGURES)
    if len(kept) < len(FIGURES):
        return None
    bodies: dict[str, Any] = {name: body for name, (_, body) in kept.items()}
    shares, expected = bodies[SHARES], bodies[EXPECTED]
    return FleetView(
        made_at=kept[SHARES][0],
        whole=Share(**shares["whole"]),
        shares={name: [Share(**one) for one in shares[name]] for name in DIMENSIONS},
        months=[ExpectedMonth.from_json(one) for one in expected["months"]],
        groups=[ExpectedGroup(**one) for one in expected["groups"]],
        quarter_end=date.fromisoformat(expected["quarter_end"]),
        held=[HeldRow(**one) for one in bodies[HELD]],
        types=[ComparedGroup(**one) for one in bodies[TYPES]],
    )
