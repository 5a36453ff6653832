"""Have a month ready for every reading, where PostgreSQL keeps them by month."""

import asyncio
from collections.abc import Awaitable, Callable
from datetime import date
from functools import partial

from fadewatch_collector.errors import StoreTrouble
from fadewatch_collector.rules.retention import kept_from, months_ready
from fadewatch_collector.store import months as parts
from fadewatch_collector.store.months import Months
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.services import Services

TRIES = 5
"""How often a change of the table itself is tried in a night [count]. Own choice."""

ANY_TIME = date(1990, 1, 1)
"""Before any reading: no laptop was read by this agent then."""


async def keep_months(services: Services) -> int:
    """Make the coming months ready, sort readings into theirs, drop what is over.

    Only months that run or come, and those of which readings lie in no month, are made;
    a wrong clock can name few, because readings count within bounds
    (`rules.moments`). What is older than is kept gets none: it is deleted soon.

    Returns
    -------
    int
        Months made and dropped; 0 on SQLite, where there is one table.
    """
    if services.store.is_sqlite:
        return 0
    now = services.clock()
    limit = kept_from(now, services.settings.keep_reports_days)
    since = ANY_TIME if limit is None else limit.date()
    async with services.store.reading() as connection:
        there = await parts.read_months(connection)
        wanted = {
            *months_ready(now.date()),
            *await parts.months_of_rest(connection, since),
        }
    made = sorted(month for month in wanted if _is_missing(month, there))
    for month in made:
        await _change(services, partial(parts.make_month, month=month))
    over = [] if limit is None else parts.parts_until(there, limit.date())
    for name in over:
        await _change(services, partial(parts.drop_part, name=name))
    return len(made) + len(over)


def _is_missing(month: date, there: Months) -> bool:
    is_before = there.before_until is not None and month < there.before_until
    return month not in there.months and not is_before


async def _change(
    services: Services, change: Callable[[WriteConnection], Awaitable[None]]
) -> None:
    """Change the table, again when somebody held it for too long."""
    for left in reversed(range(TRIES)):
        try:
            async with services.store.writing() as connection:
                await change(connection)
        except StoreTrouble:
            if not left:
                raise
            await asyncio.sleep(1)
        else:
            return
