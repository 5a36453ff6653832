"""A clock that stands still until it is moved."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta


@dataclass(slots=True)
class StandingClock:
    """Gives the same moment until a test moves it on."""

    now: datetime = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def move(self, step: timedelta) -> None:
        """Move on by a step."""
        self.now += step
