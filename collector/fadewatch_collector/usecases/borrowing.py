"""What a young pack borrows: the fade of its own type, else of the fleet."""

import asyncio
import json
from collections.abc import Sequence

from fadewatch_collector.analysis.figures import DAYS_PER_MONTH
from fadewatch_collector.analysis.priors import (
    Priors,
    pools_by_type,
    priors_from_pools,
)
from fadewatch_collector.store.histories import FittedPack, own_fades
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.store.values import get_value, set_value
from fadewatch_collector.usecases.services import Services

KEPT_AS = "fade-pools"
COUNTED_AS = "fade-pool-counts"
"""Under this name stands from how many packs each pool was learnt."""


async def learn_fades(services: Services) -> None:
    """Pool the fade of packs that speak for themselves, by pack type."""
    async with services.store.reading() as connection:
        known = await own_fades(connection)
    pools = await asyncio.to_thread(
        pools_by_type, {name: fade / DAYS_PER_MONTH for name, fade in known.items()}
    )
    counts = {name: fade.size for name, fade in known.items()}
    counts[""] = sum(counts.values())
    kept = {name: counts[name] for name in pools}
    async with services.store.writing() as connection:
        await set_value(connection, KEPT_AS, json.dumps(pools))
        await set_value(connection, COUNTED_AS, json.dumps(kept))


async def borrowed(
    connection: WriteConnection, pack_ids: Sequence[int], fitted: Sequence[FittedPack]
) -> Priors:
    """Return what each pack borrows, by what was learnt last."""
    pools = await learnt_pools(connection)
    types = {pack.id: pack.pack_type for pack in fitted}
    return priors_from_pools(pools, [types.get(number, "") for number in pack_ids])


async def learnt_pools(connection: WriteConnection) -> dict[str, tuple[float, float]]:
    """Return the fade [1/d] and its spread by pack type; the fleet's under no name."""
    kept = await get_value(connection, KEPT_AS)
    return {
        name: (fade, spread)
        for name, (fade, spread) in json.loads(kept or "{}").items()
    }
