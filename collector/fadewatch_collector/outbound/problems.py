"""Why a message did not get through."""

from datetime import timedelta

from fadewatch_collector.errors import CollectorError

_LONGEST = 300
"""Most of another side's words that is kept [characters]. Own choice."""


class DeliveryProblem(CollectorError):
    """A message did not get through.

    Attributes
    ----------
    reason
        What happened, in our words: no address and no secret, so a log may carry it.
    said
        What the other side said, for the store only; addresses stand in it.
    """

    def __init__(self, reason: str, said: str = "") -> None:
        self.reason = reason
        self.said = " ".join(said.split())[:_LONGEST]
        super().__init__(f"{reason}: {self.said}" if self.said else reason)


class TryLater(DeliveryProblem, ConnectionError):
    """It may get through at another time."""

    def __init__(
        self, reason: str, said: str = "", retry_after: timedelta | None = None
    ) -> None:
        super().__init__(reason, said)
        self.retry_after = retry_after


class Refused(DeliveryProblem, ValueError):
    """It will never get through as it is."""
