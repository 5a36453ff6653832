"""How the agents of the fleet are doing: versions, and who never reported."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from fadewatch_collector.rules.agent_versions import Standing, newest_first, standing
from fadewatch_collector.store import agents as rows
from fadewatch_collector.store.agents import NeverReported
from fadewatch_collector.usecases.services import Services
from fadewatch_common import __version__
from fadewatch_common.policy import Policy

LATELY = timedelta(days=Policy().silent_days)
"""A laptop that reported within this time is not silent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionLine:
    """One version of the agent, and how it stands to this collector's."""

    version: str | None
    laptops: int
    lately: int
    standing: Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class AgentsView:
    """The agents of the fleet.

    Attributes
    ----------
    more
        Whether further laptops that never reported follow.
    """

    own_version: str
    versions: Sequence[VersionLine]
    never_count: int
    never: Sequence[NeverReported]
    more: bool


async def agents_view(services: Services, before: int | None, limit: int) -> AgentsView:
    """Return the versions in use, and a part of the laptops that never reported."""
    since = services.clock() - LATELY
    async with services.store.reading() as connection:
        counts = await rows.version_counts(connection, since)
        never_count = await rows.never_reported_count(connection)
        never = await rows.never_reported(connection, before, limit + 1)
    versions = [
        VersionLine(
            version=one.version,
            laptops=one.laptops,
            lately=one.lately,
            standing=standing(one.version, __version__),
        )
        for one in sorted(counts, key=lambda one: newest_first(one.version))
    ]
    return AgentsView(
        own_version=__version__,
        versions=versions,
        never_count=never_count,
        never=never[:limit],
        more=len(never) > limit,
    )
