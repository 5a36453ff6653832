"""What the collector tells of itself: versions, store, queues, rounds."""

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from fadewatch_collector.store.about import StoreStanding, store_standing, values_named
from fadewatch_collector.store.schema import revisions
from fadewatch_collector.usecases.rounds import ROUNDS, round_value
from fadewatch_collector.usecases.services import Services
from fadewatch_common import __version__

LATE = 2
"""How many of its periods a round may be behind before that is said [count]."""


@dataclass(frozen=True, slots=True)
class RoundStanding:
    """When a round of the clock was last done; None is never yet."""

    name: str
    period: timedelta
    done_at: datetime | None
    is_late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How this collector stands."""

    version: str
    python: str
    schema: str
    store: StoreStanding
    rounds: Sequence[RoundStanding]


async def standing(services: Services) -> Standing:
    """Return how this collector stands."""
    schema = await revisions(services.store)
    async with services.store.reading() as connection:
        store = await store_standing(connection)
        done = await values_named(connection, "round:")
    now = services.clock()
    return Standing(
        version=__version__,
        python=platform.python_version(),
        schema=schema.found or "none",
        store=store,
        rounds=[
            _round(work.name, work.period, done.get(round_value(work)), now)
            for work in ROUNDS
        ],
    )


def _round(
    name: str, period: timedelta, done: str | None, now: datetime
) -> RoundStanding:
    at = datetime.fromisoformat(done) if done else None
    return RoundStanding(name, period, at, at is None or now - at > LATE * period)
