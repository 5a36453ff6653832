"""Webhooks: JSON, signed, sent once to the very address of the route."""

import hashlib
import hmac
import json
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any

import aiohttp

from fadewatch_collector.outbound.channel import Destination
from fadewatch_collector.outbound.problems import Refused, TryLater
from fadewatch_collector.outbound.wording import address_of
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.rules.messages import Message, ToldAlert
from fadewatch_collector.rules.notify import judge_status

TIMESTAMP = "Fadewatch-Timestamp"
SIGNATURE = "Fadewatch-Signature"

TIMEOUT = aiohttp.ClientTimeout(total=20, connect=10)
"""How long a receiver may take [s]. Own choice."""


class Webhooks:
    """Sends messages to webhooks."""

    def __init__(self, session: aiohttp.ClientSession, pages: str) -> None:
        self._session = session
        self._pages = pages

    async def send(
        self, message: Message, destination: Destination, now: datetime
    ) -> None:
        """Send a message; returns once the receiver has accepted it."""
        body = body_of(message, self._pages)
        stamp = str(int(now.timestamp()))
        headers = {
            "Content-Type": "application/json",
            "User-Agent": "Fadewatch",
            TIMESTAMP: stamp,
            SIGNATURE: sign(destination.secret or "", stamp, body),
        }
        try:
            async with self._session.post(
                destination.target,
                data=body,
                headers=headers,
                allow_redirects=False,
                timeout=TIMEOUT,
            ) as answer:
                status, wait = answer.status, answer.headers.get("Retry-After")
        except (aiohttp.ClientError, TimeoutError, OSError) as problem:
            # Their own words name the host and the way: a log may not carry them.
            reason = f"the receiver cannot be reached ({type(problem).__name__})"
            raise TryLater(reason, str(problem)) from None
        _judge(status, retry_after(wait, now))


def sign(secret: str, stamp: str, body: bytes) -> str:
    """Return the signature: HMAC-SHA-256 over ``timestamp.body``, in hex (RFC 2104)."""
    signed = stamp.encode() + b"." + body
    return hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()


def body_of(message: Message, pages: str) -> bytes:
    """Return the JSON text that is sent and signed; the same at every try."""
    plain = {
        "id": message.name,
        "what": message.what,
        "written_at": message.written_at.isoformat(timespec="seconds"),
        "alerts": [_plain(alert, pages) for alert in message.alerts],
        "more": message.more,
    }
    return json.dumps(plain, separators=(",", ":")).encode()


def _plain(alert: ToldAlert, pages: str) -> dict[str, Any]:
    plain = alert.to_plain() | {"page": address_of(alert, pages)}
    if alert.urgency == "stop-use":
        plain["cautions"] = list(STOP_USE_CAUTIONS)
    return plain


def _judge(status: int, asked: timedelta | None) -> None:
    reason = f"the receiver answered {status}"
    match judge_status(status):
        case "accepted":
            return
        case "later":
            raise TryLater(reason, retry_after=asked)
        case "refused":
            raise Refused(reason)


def retry_after(value: str | None, now: datetime) -> timedelta | None:
    """Read a Retry-After header (RFC 9110 section 10.2.3): seconds, or a date."""
    if value is None:
        return None
    text = value.strip()
    if text.isascii() and text.isdigit():
        # Ten digits are more than 300 years: longer ones mean as much.
        return timedelta(seconds=int(text[:10]))
    try:
        at = parsedate_to_datetime(text)
    except ValueError:
        return None
    if at.tzinfo is None:
        at = at.replace(tzinfo=UTC)
    return max(at - now, timedelta(0))
