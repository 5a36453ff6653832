"""What the collector tells of itself: versions, store, queues, rounds."""

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from fadewatch_collector.store.about import StoreStanding, store_standing, values_named
from fadewatch_collector.store.queues import Depth, queue_depths
from fadewatch_collector.store.schema import revisions
from fadewatch_collector.usecases.rounds import ROUNDS, round_value
from fadewatch_collector.usecases.services import Services
from fadewatch_common import __version__

LATE = 2
"""How many of its periods a round may be behind before that is said [count]."""

LONG_WAIT = timedelta(minutes=15)
"""How long the first in a queue may wait before that is said. Own choice: filing begins
at once, and what comes of a morning's burst is done sooner."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """What waits in a queue: how many, and since when the first does."""

    count: int
    since: datetime | None
    is_late: bool


@dataclass(frozen=True, slots=True)
class RoundStanding:
    """When a round of the clock was last done; None is never yet."""

    name: str
    period: timedelta
    done_at: datetime | None
    is_late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How this collector stands.

    Attributes
    ----------
    set_aside
        Packs that could not be assessed and are tried again later [count].
    """

    version: str
    python: str
    schema: str
    store: StoreStanding
    to_file: Waiting
    to_assess: Waiting
    set_aside: int
    rounds: Sequence[RoundStanding]


async def standing(services: Services) -> Standing:
    """Return how this collector stands."""
    schema = await revisions(services.store)
    async with services.store.reading() as connection:
        store = await store_standing(connection)
        queues = await queue_depths(connection)
        done = await values_named(connection, "round:")
    now = services.clock()
    return Standing(
        version=__version__,
        python=platform.python_version(),
        schema=schema.found or "none",
        store=store,
        to_file=_waiting(queues.filing, now),
        to_assess=_waiting(queues.assessment, now),
        set_aside=queues.set_aside.count,
        rounds=[
            _round(work.name, work.period, done.get(round_value(work)), now)
            for work in ROUNDS
        ],
    )


def _waiting(depth: Depth, now: datetime) -> Waiting:
    is_late = depth.since is not None and now - depth.since > LONG_WAIT
    return Waiting(depth.count, depth.since, is_late)


def _round(
    name: str, period: timedelta, done: str | None, now: datetime
) -> RoundStanding:
    at = datetime.fromisoformat(done) if done else None
    return RoundStanding(name, period, at, at is None or now - at > LATE * period)
