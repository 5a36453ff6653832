"""What the sender asks of mail and webhooks alike."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from fadewatch_collector.rules.messages import Message
from fadewatch_collector.rules.notify import Channel


@dataclass(frozen=True, slots=True)
class Destination:
    """Where a message goes, and what signs it."""

    target: str
    secret: str | None


class Sends(Protocol):
    """Sends messages to the outside."""

    async def send(
        self, message: Message, destination: Destination, now: datetime
    ) -> None:
        """Send a message; returns once the other side has accepted it.

        Raises
        ------
        TryLater
            It may get through at another time.
        Refused
            It will never get through as it is.
        """
        ...


Channels = Mapping[Channel, Sends]
"""One sender for each channel that a route may have."""
