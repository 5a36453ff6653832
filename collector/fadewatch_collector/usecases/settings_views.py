"""What the settings pages show beside the settings themselves."""

from collections.abc import Sequence
from dataclasses import dataclass

from fadewatch_collector.store import life, pages
from fadewatch_collector.store.audit import AuditLine
from fadewatch_collector.usecases.services import Services

__all__ = ["AuditLine", "Scopes", "known_scopes", "settings_trail"]

TRAIL_LINES = 50
"""Newest lines of a trail that a settings page shows [count]. Own choice."""


@dataclass(frozen=True, slots=True)
class Scopes:
    """The sites and the laptop models that a policy can be made for."""

    sites: Sequence[str]
    models: Sequence[tuple[str | None, str | None]]


async def known_scopes(services: Services) -> Scopes:
    """Return the sites and models of the fleet."""
    async with services.store.reading() as connection:
        return Scopes(
            await pages.sites(connection), await life.laptop_models(connection)
        )


async def settings_trail(services: Services, *kinds: str) -> list[AuditLine]:
    """Return the newest lines about settings of some kinds."""
    async with services.store.reading() as connection:
        return await life.trail_about(connection, kinds, TRAIL_LINES)
