"""The clock: starts each round at its time, and once after a pause."""

import asyncio
import logging
from datetime import timedelta

from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.interval import IntervalTrigger

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.store.clock_turn import LOOK_S, clock_turn
from fadewatch_collector.usecases.rounds import ROUNDS, Round, do_round, last_done
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)

CATCH_UP_AFTER = timedelta(seconds=5)
"""How long after the start a missed round is made up. Own choice."""


async def keep_clock(services: Services) -> None:
    """Run the clock whenever it is this collector's turn, until cancelled."""
    while True:
        try:
            async with clock_turn(services.store) as lost:
                if lost is not None:
                    await _run_until(lost, services)
        except StoreTrouble:
            log.exception("the clock's turn cannot be asked for; trying again")
        await asyncio.sleep(LOOK_S)


async def _run_until(lost: asyncio.Event, services: Services) -> None:
    scheduler = await start_clock(services)
    try:
        await lost.wait()
    finally:
        scheduler.shutdown(wait=False)


async def start_clock(services: Services) -> AsyncIOScheduler:
    """Start the clock; what was missed while nothing ran is made up once."""
    scheduler = AsyncIOScheduler(
        timezone="UTC",
        # One late run stands for all that were missed, however long the pause.
        job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
    )
    now = services.clock()
    for work in ROUNDS:
        done = await last_done(services, work)
        missed = done is None or now - done >= work.period
        scheduler.add_job(_round, _trigger(work), args=[services, work], id=work.name)
        if missed:
            scheduler.modify_job(work.name, next_run_time=now + CATCH_UP_AFTER)
    scheduler.start()
    return scheduler


async def _round(services: Services, work: Round) -> None:
    try:
        await do_round(services, work)
    except asyncio.CancelledError:
        # The clock stops. To the scheduler it would be a failure, with a traceback.
        log.info("round %s was broken off; it will be made up", work.name)


def _trigger(work: Round) -> CronTrigger | IntervalTrigger:
    if work.hour is None:
        return IntervalTrigger(hours=1, jitter=60)
    return CronTrigger(hour=work.hour, timezone="UTC")
