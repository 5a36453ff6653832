"""Requests to the collector, and what its answers mean."""

import http.client
import json
import ssl
import urllib.request
import zlib
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.parse import urlsplit

from fadewatch_agent.configuration import checked_address, is_loopback
from fadewatch_agent.errors import (
    InvalidConfiguration,
    NotACollector,
    Refused,
    Unacceptable,
    Unreachable,
)
from fadewatch_common import __version__

TIMEOUT = 30.0
"""Longest wait for the network to move [s]."""

LONGEST_ANSWER = 4 * 1024 * 1024
LONGEST_WAIT = 86_400.0
"""Longest wait that a collector may ask for [s]; a proxy's odd date stays harmless."""

_GZIP = 31
"""Window bits with which zlib writes the gzip format (RFC 1952)."""

_REFUSED = (401, 403)
_COME_BACK = (408, 425, 429, 500, 502, 503, 504)
_AT_FAULT = (400, 413, 415, 422)
_PROBLEM = "application/problem+json"


class Client:
    """Posts JSON to one collector."""

    def __init__(self, collector: str, ca: Path | None) -> None:
        self._collector = checked_address(collector)
        self._opener = _opener(self._collector, ca)

    def post(
        self, path: str, body: bytes, expected: int, key: str | None = None
    ) -> dict[str, Any]:
        """Post JSON, packed with gzip, and return the JSON object of the answer.

        Parameters
        ----------
        path
            Path below the collector's address, with a slash before it.
        body
            JSON text as bytes.
        expected
            Status of a good answer.
        key
            The laptop's key, where one is needed.

        Raises
        ------
        DeliveryError
            Anything but the expected answer came, or none.
        """
        headers = {
            "Content-Type": "application/json",
            "Content-Encoding": "gzip",
            "Accept": "application/json, " + _PROBLEM,
        }
        if key is not None:
            headers["Authorization"] = f"Bearer {key}"
        request = urllib.request.Request(  # noqa: S310 (the scheme was checked)
            self._collector + path,
            data=zlib.compress(body, wbits=_GZIP),
            headers=headers,
            method="POST",
        )
        status, answer, fields = self._exchange(request)
        return _understood(status, answer, fields, expected)

    def _exchange(
        self, request: urllib.request.Request
    ) -> tuple[int, bytes, Mapping[str, str]]:
        try:
            with self._opener.open(request, timeout=TIMEOUT) as response:
                answer = response.read(LONGEST_ANSWER + 1)
                return response.status, answer, response.headers
        except URLError as error:
            raise Unreachable(f"{self._collector}: {error.reason}") from error
        except (OSError, http.client.HTTPException) as error:
            raise Unreachable(
                f"{self._collector}: {str(error) or repr(error)}"
            ) from error


def _opener(collector: str, ca: Path | None) -> urllib.request.OpenerDirector:
    """Put together an opener that follows no redirect and raises for no status.

    The usual one would carry the key to wherever a redirect points.
    """
    parts = urlsplit(collector)
    # A proxy cannot reach this machine's own services, and must not see the key.
    proxies: dict[str, str] | None = {} if is_loopback(parts) else None
    opener = urllib.request.OpenerDirector()
    opener.addheaders = [("User-Agent", f"fadewatch-agent/{__version__}")]
    opener.add_handler(urllib.request.ProxyHandler(proxies))
    if parts.scheme == "https":
        opener.add_handler(urllib.request.HTTPSHandler(context=_trust(ca)))
    else:
        opener.add_handler(urllib.request.HTTPHandler())
    return opener


def _trust(ca: Path | None) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=ca)
    except (OSError, ssl.SSLError) as error:
        raise InvalidConfiguration(f"ca {ca} cannot be used: {error}") from error


def _understood(
    status: int, answer: bytes, fields: Mapping[str, str], expected: int
) -> dict[str, Any]:
    kind = (fields.get("Content-Type") or "").partition(";")[0].strip().lower()
    record = _object(answer) if kind in ("application/json", _PROBLEM) else None
    if status == expected and kind == "application/json" and record is not None:
        return record
    words = f"answer {status}{_explained(record)}"
    if status in _REFUSED:
        raise Refused(words)
    if status in _COME_BACK:
        wait = retry_after_seconds(fields.get("Retry-After"), datetime.now(UTC))
        raise Unreachable(words, wait)
    if status in _AT_FAULT and kind == _PROBLEM and record is not None:
        raise Unacceptable(words)
    if target := fields.get("Location"):
        words += f", a redirect to {target[:200]}, which is not followed"
    raise NotACollector(f"{words} ({kind or 'no type'}) is not a collector's")


def _object(answer: bytes) -> dict[str, Any] | None:
    if len(answer) > LONGEST_ANSWER:
        return None
    try:
        record = json.loads(answer)
    except (ValueError, RecursionError):
        return None
    return record if isinstance(record, dict) else None


def _explained(record: dict[str, Any] | None) -> str:
    """Word a problem (RFC 9457) after the status."""
    told = [str((record or {}).get(name) or "") for name in ("title", "detail")]
    words = ": ".join(part[:200] for part in told if part)
    return f" ({words})" if words else ""


def retry_after_seconds(text: str | None, now: datetime) -> float | None:
    """Return the wait that a Retry-After asks for [s]; None when it asks for none.

    References
    ----------
    RFC 9110, section 10.2.3: an HTTP date or a number of seconds.
    """
    asked = (text or "").strip()
    if asked.isascii() and asked.isdigit():
        return min(float(asked[:10]), LONGEST_WAIT)
    # Only an answer with a date pays for the parser.
    from email.utils import parsedate_to_datetime  # noqa: PLC0415

    try:
        date = parsedate_to_datetime(asked)
    except (ValueError, TypeError):
        return None
    seconds = (date.replace(tzinfo=date.tzinfo or UTC) - now).total_seconds()
    return min(max(seconds, 0.0), LONGEST_WAIT)
