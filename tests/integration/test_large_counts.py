"""Counts of lists: few are counted each time, many are kept for a minute."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import delete, select, update

from fadewatch_collector.store.pages import sites
from fadewatch_collector.store.tables import alerts, laptops
from fadewatch_collector.usecases import large_counts
from fadewatch_collector.usecases.overview import AlertFilter, alert_list
from fadewatch_collector.usecases.services import Services
from tests.fixtures.shown_fleet import fill
from tests.integration.postgres import DATABASES

ON = DATABASES


async def counted(
    services: Services, site: str | None = None, after_s: float = 0
) -> tuple[int, int]:
    now = services.clock() + timedelta(seconds=after_s)
    shown = await alert_list(
        replace(services, clock=lambda: now), AlertFilter(site=site)
    )
    return sum(shown.counts.values()), shown.laptop_count


async def end_all(services: Services) -> None:
    async with services.store.writing() as connection:
        await connection.execute(update(alerts).values(state="ended"))


async def waiting(services: Services, site: str | None) -> int:
    """Count in the plainest way."""
    async with services.store.reading() as connection:
        found = await connection.execute(select(alerts.c.state, alerts.c.site))
        return sum(state != "ended" and site in {None, at} for state, at in found.all())


async def test_counts_are_right_and_fresh_while_they_are_small(
    services: Services,
) -> None:
    await fill(services.store, services.clock(), laptops=24)
    async with services.store.reading() as connection:
        known = await sites(connection)

    assert known == sorted(set(known))
    for site in (None, *known):
        assert (await counted(services, site))[0] == await waiting(services, site)
    assert (await counted(services))[0] > 0
    await end_all(services)
    assert await counted(services) == (0, 24)


async def test_large_counts_are_right_and_a_minute_old_at_most(
    services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(large_counts, "MANY", 1)
    await fill(services.store, services.clock(), laptops=24)
    before = await counted(services)
    assert before == (await waiting(services, None), 24)
    async with services.store.writing() as connection:
        one = await connection.scalar(
            select(alerts.c.id).where(alerts.c.urgency == "plan").limit(1)
        )
        await connection.execute(delete(alerts).where(alerts.c.id == one))

    assert await counted(services, after_s=59) == before
    assert await counted(services, after_s=61) == (before[0] - 1, 24)


async def test_every_site_is_found_once_and_none_where_there_is_none(
    services: Services,
) -> None:
    async with services.store.reading() as connection:
        assert await sites(connection) == []
    await fill(services.store, services.clock(), laptops=24)
    async with services.store.reading() as connection:
        plain = set(await connection.scalars(select(laptops.c.site).distinct()))
        assert await sites(connection) == sorted(plain - {None})
