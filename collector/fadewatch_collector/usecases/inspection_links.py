"""How a link to a laptop's holder stands, to say kindly why it does not work."""

from fadewatch_collector.store import life
from fadewatch_collector.store.life import LinkStanding
from fadewatch_collector.usecases.enrolment import digest_of
from fadewatch_collector.usecases.services import Services

__all__ = ["LinkStanding", "link_standing"]


async def link_standing(services: Services, token: str) -> LinkStanding | None:
    """Return how a link stands; None when there is no such link."""
    async with services.store.reading() as connection:
        return await life.link_standing(connection, digest_of(token))
