"""Connections to the database that a process holds."""

from dataclasses import dataclass

from sqlalchemy import QueuePool

from fadewatch_collector.store.store import Store


@dataclass(frozen=True, slots=True)
class PoolStanding:
    """How many connections are in use, how many wait for use, how many are kept."""

    in_use: int
    idle: int
    kept: int


def pool_standing(store: Store) -> PoolStanding:
    """Return how the pool stands; a pool without a queue keeps none."""
    pool = store.engine.pool
    if not isinstance(pool, QueuePool):
        return PoolStanding(0, 0, 0)
    return PoolStanding(pool.checkedout(), pool.checkedin(), pool.size())
