"""What a message says of alerts, as kept in the outbox and sent."""

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

from fadewatch_collector.rules.alert_terms import (
    URGENCIES,
    AlertKind,
    AlertState,
    Urgency,
)
from fadewatch_collector.rules.notify import MessageKind

DIGEST_LENGTH = 500
"""Most alerts in one digest; the rest is counted. Own choice."""

_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories that break lines, turn writing round or cannot be shown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldAlert:
    """An alert as it stood when its message was written.

    Attributes
    ----------
    opened_at
        RFC 3339, UTC.
    holder
        Who has the laptop; told with `stop-use` only, where minutes count.
    """

    id: int
    kind: AlertKind
    urgency: Urgency
    state: AlertState
    reopened: int
    site: str | None
    opened_at: str
    reasons: Sequence[str]
    next_step: str
    planned_on: str | None = None
    figures: Mapping[str, Any] = field(default_factory=dict)
    laptop_id: int | None = None
    asset_tag: str | None = None
    hostname: str | None = None
    laptop_maker: str | None = None
    laptop_model: str | None = None
    laptop_serial: str | None = None
    holder: str | None = None
    pack_maker: str | None = None
    pack_model: str | None = None
    pack_serial: str | None = None

    def to_plain(self) -> dict[str, Any]:
        """Return it as JSON takes it."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """What is sent to one route.

    Attributes
    ----------
    name
        Its own for ever: a second try carries the same one.
    route
        Label of the route that it goes to.
    more
        How many alerts were left out of a long digest.
    """

    name: str
    what: MessageKind
    route: str
    written_at: datetime
    alerts: Sequence[ToldAlert] = ()
    more: int = 0


def in_digest_order(alerts: Iterable[ToldAlert]) -> list[ToldAlert]:
    """Return alerts by urgency, then site (none last), then the oldest first."""
    return sorted(
        alerts,
        key=lambda alert: (
            URGENCIES.index(alert.urgency),
            alert.site is None,
            alert.site or "",
            alert.opened_at,
            alert.id,
        ),
    )


def stamp(now: datetime) -> str:
    """Return a moment as names of messages carry it."""
    return now.strftime("%Y%m%dT%H%M%SZ")


def one_line(text: str, limit: int = 200) -> str:
    """Make text from a laptop or pack harmless: one line, nothing unseen, not long."""
    seen = (" " if unicodedata.category(sign) in _UNSEEN else sign for sign in text)
    line = " ".join("".join(seen).split())
    return line if len(line) <= limit else line[: limit - 1] + "…"
