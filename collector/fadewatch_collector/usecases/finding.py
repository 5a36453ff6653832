"""Keep what laptops are found by up to date, and find them as somebody types."""

from collections.abc import Sequence

from fadewatch_collector.rules.search_terms import words_sought
from fadewatch_collector.store import pages, search
from fadewatch_collector.store.pages import LaptopRow
from fadewatch_collector.usecases.services import Services

BATCH = 500
"""Laptops gone over in one transaction [count]. Own choice."""

SUGGESTED = 8
"""Laptops suggested while somebody types [count]. Own choice."""

FEWEST_TYPED = 2
"""Characters that must be typed before anything is suggested [count]. Own choice."""


async def keep_search_terms(services: Services) -> int:
    """Compare the terms of every laptop with what is known; returns how many.

    Filing and imports keep them up to date; this mends what another version of the
    collector left, and fills the table after an upgrade.
    """
    after, count = 0, 0
    while True:
        async with services.store.writing() as connection:
            numbers = await pages.laptop_ids_after(connection, after, BATCH)
            await search.refresh_terms(connection, numbers)
        if not numbers:
            return count
        after, count = numbers[-1], count + len(numbers)


async def suggest_laptops(services: Services, typed: str) -> Sequence[LaptopRow]:
    """Return the first few laptops that what was typed so far finds."""
    words = words_sought(typed)
    if sum(map(len, words)) < FEWEST_TYPED:
        return ()
    async with services.store.reading() as connection:
        return await pages.laptop_rows(
            connection,
            site=None,
            sought=await search.laptops_sought(connection, words),
            after=None,
            limit=SUGGESTED,
        )
