"""The rounds that the clock starts, and when each was last done."""

import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from fadewatch_collector.store.values import get_value, set_value
from fadewatch_collector.usecases.alerts import look_for_silent
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.charging import tell_habits
from fadewatch_collector.usecases.finding import keep_search_terms
from fadewatch_collector.usecases.fleet_figures import sum_up_fleet
from fadewatch_collector.usecases.forecasts import keep_forecasts
from fadewatch_collector.usecases.months import keep_months
from fadewatch_collector.usecases.notifications import make_digests
from fadewatch_collector.usecases.retention import clear_out
from fadewatch_collector.usecases.services import Services

log = logging.getLogger(__name__)


JUST_DONE = timedelta(minutes=10)
"""How long ago a round was done that is not done again. Own choice: hourly rounds
spread over two minutes."""


@dataclass(frozen=True, slots=True)
class Round:
    """Work done again and again.

    Attributes
    ----------
    name
        What it is called in the log and in the store.
    hour
        Hour of the day (UTC) at which it is done, or None for every hour.
    work
        Does it and returns how many things it went over.
    """

    name: str
    hour: int | None
    work: Callable[[Services], Awaitable[int]]

    @property
    def period(self) -> timedelta:
        """Longest time that should pass between two of them."""
        return timedelta(hours=1) if self.hour is None else timedelta(days=1)


ROUNDS = (
    Round("keep-months", 1, keep_months),
    Round("assess-all", 2, assess_all),
    Round("keep-search-terms", 3, keep_search_terms),
    Round("tell-charging-habits", 3, tell_habits),
    Round("look-for-silent", None, look_for_silent),
    Round("clear-out", 4, clear_out),
    Round("make-digests", 6, make_digests),
    Round("keep-forecasts", 3, keep_forecasts),
    Round("sum-up-fleet", None, sum_up_fleet),
)


async def do_round(services: Services, work: Round) -> None:
    """Do one round and keep when it was done.

    One that another collector has just done is left out: its clock may have been freed
    and taken over while it was at work.
    """
    started = services.clock()
    done = await last_done(services, work)
    if done is not None and timedelta(0) < started - done < JUST_DONE:
        log.info("round %s has just been done", work.name)
        return
    count = await work.work(services)
    async with services.store.writing() as connection:
        await set_value(connection, round_value(work), started.isoformat())
    log.info("round %s went over %d", work.name, count)


async def last_done(services: Services, work: Round) -> datetime | None:
    """Return when a round was last done."""
    async with services.store.reading() as connection:
        value = await get_value(connection, round_value(work))
    return datetime.fromisoformat(value) if value else None


def round_value(work: Round) -> str:
    """Return the name under which the store keeps when a round was last done."""
    return f"round:{work.name}"
