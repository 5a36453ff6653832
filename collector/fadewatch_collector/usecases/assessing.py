"""Assess packs: soon after a reading, off every collector's queue, and all by night."""

import logging
from collections.abc import Awaitable, Callable

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.store.assessment_queue import (
    ask_assessment,
    claim_packs,
    done_with,
    put_off,
)
from fadewatch_collector.store.histories import pack_ids_after
from fadewatch_collector.usecases.assess import assess_packs
from fadewatch_collector.usecases.borrowing import learn_fades
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import judge_swaps
from fadewatch_collector.usecases.wakeful import Wakeful

log = logging.getLogger(__name__)

BATCH = 250
"""Packs taken off the queue at once. Own choice."""

NIGHTLY_BATCH = 500
"""Packs assessed at once by the nightly round. Own choice."""

LOOK_AGAIN_S = 5.0
"""How often the queue is looked at unasked: other collectors file too, and what one
left behind becomes due [s]. Own choice."""

GATHER_S = 1.0
"""How long packs gather when few were assessed [s]. Own choice."""

WAY_S = 5.0
"""Pause before a batch while reports come faster than they are filed [s]: a pack is
assessed soon, but not before the readings that it is assessed by. Own choice."""

PROBLEM_LENGTH = 500
"""Most that is kept of the reason why a pack cannot be assessed [characters]."""

_Work = Callable[[Services, list[int]], Awaitable[None]]


class Assessor:
    """Assesses packs in the background, soon after they were read."""

    def __init__(
        self,
        services: Services,
        on_assessed: Callable[[], None] = lambda: None,
        gives_way: Callable[[], bool] = lambda: False,
    ) -> None:
        """Make an assessor.

        Parameters
        ----------
        on_assessed
            Called after each batch.
        gives_way
            Says whether there is more urgent work: numbers take the processor from it.
        """
        self._services = services
        self._on_assessed = on_assessed
        self._gives_way = gives_way
        self._rests = Wakeful()

    def wake(self) -> None:
        """Say that there is something to assess."""
        self._rests.wake()

    def close(self) -> None:
        """End ``run`` after the batch in hand; the rest waits in the store."""
        self._rests.close()

    async def run(self) -> None:
        """Assess what waits until closed."""
        while not self._rests.is_closed:
            if self._gives_way():
                await self._rests.gather(WAY_S)
            count = await self._assess()
            if not count:
                await self._rests.rest(LOOK_AGAIN_S)
            elif count < BATCH:
                await self._rests.gather(GATHER_S)

    async def _assess(self) -> int:
        try:
            count = await assess_waiting(self._services)
        except StoreTrouble:
            log.exception("packs could not be assessed; trying again")
            return 0
        if count:
            self._on_assessed()
        return count


async def assess_waiting(services: Services, limit: int = BATCH) -> int:
    """Assess the packs that wait longest; returns how many were taken off the queue.

    A collector that dies on the way leaves them on the queue; assessing a pack twice
    changes nothing.
    """
    claimed = await claim_packs(services.store, limit, services.clock())
    if not claimed:
        return 0
    assessed = await _done_or_put_off(services, sorted(claimed), _assess_and_judge)
    async with services.store.writing() as connection:
        done = {pack_id: claimed[pack_id] for pack_id in assessed}
        await done_with(connection, done, services.clock())
    return len(claimed)


async def assess_all(services: Services) -> int:
    """Assess every pack and learn what young ones borrow; returns how many packs.

    One that cannot be assessed waits on the queue, with the reason.
    """
    after, count = 0, 0
    while True:
        async with services.store.reading() as connection:
            packs = await pack_ids_after(connection, after, NIGHTLY_BATCH)
        if not packs:
            await learn_fades(services)
            return count
        await _done_or_put_off(services, packs, assess_packs)
        after, count = packs[-1], count + len(packs)


async def _assess_and_judge(services: Services, pack_ids: list[int]) -> None:
    await assess_packs(services, pack_ids)
    await judge_swaps(services, pack_ids)


async def _done_or_put_off(
    services: Services, pack_ids: list[int], work: _Work
) -> list[int]:
    """Do work with packs; returns those with which that was possible.

    When it fails for some they are tried in halves: one that fails alone is put off
    with the reason, and keeps no other from being assessed.
    """
    try:
        await work(services, pack_ids)
    except StoreTrouble:
        raise
    except Exception as problem:
        if len(pack_ids) > 1:
            half = len(pack_ids) // 2
            return [
                *await _done_or_put_off(services, pack_ids[:half], work),
                *await _done_or_put_off(services, pack_ids[half:], work),
            ]
        log.exception("pack %d cannot be assessed; it is tried again later", *pack_ids)
        said = f"{type(problem).__name__}: {problem}"[:PROBLEM_LENGTH]
        now = services.clock()
        async with services.store.writing() as connection:
            await ask_assessment(connection, pack_ids, now)
            await put_off(connection, pack_ids[0], said, now)
        return []
    return pack_ids
