"""Requests to the collector, and what its answers mean."""

import http.client
import json
import os
import ssl
import sys
import zlib
from datetime import UTC, datetime
from email.message import Message
from pathlib import Path
from typing import Any
from urllib.parse import SplitResult, unquote, urlsplit

from fadewatch_agent.answering import LONGEST_ANSWER_SECONDS, hurried, whole
from fadewatch_agent.clock import RELEASED
from fadewatch_agent.configuration import checked_address, is_loopback
from fadewatch_agent.errors import (
    InvalidConfiguration,
    NotACollector,
    Refused,
    Unacceptable,
    Unreachable,
)
from fadewatch_agent.readers.files import clean
from fadewatch_agent.their_clock import (
    OF_TIME,
    is_valid_by_their_clock,
    parsed_date,
    seconds_ahead,
    without_time,
)
from fadewatch_common import __version__

TIMEOUT = 30.0
"""Longest wait for the network to move [s]."""

LONGEST_WAIT = 86_400.0
"""Longest wait that a collector may ask for [s]; a proxy's odd date stays harmless."""

_GZIP = 31
"""Window bits with which zlib writes the gzip format (RFC 1952)."""

_PROXY_PORT = 80
"""Port of a proxy whose address names none."""

_WORDS = 200
"""Most characters shown of what somebody else wrote."""

_REFUSED = (401, 403)
_COME_BACK = (408, 425, 429, 500, 502, 503, 504)
_AT_FAULT = (400, 413, 415, 422)
_PROBLEM = "application/problem+json"


class Client:
    """Talks JSON with one collector; follows no redirect.

    Attributes
    ----------
    ahead
        How far the collector's clock is ahead of this laptop's [s], by the Date of its
        last answer (RFC 9110, 6.6.1); None before one came.
    """

    def __init__(
        self,
        collector: str,
        ca: Path | None,
        proxy: str | None = None,
        timeout: float = TIMEOUT,
        not_before: datetime = RELEASED,
        longest: float = LONGEST_ANSWER_SECONDS,
    ) -> None:
        self._collector = checked_address(collector)
        self._parts = urlsplit(self._collector)
        self._timeout = timeout
        self._context = _trust(ca) if self._parts.scheme == "https" else None
        self._proxy = _proxy(self._parts, proxy)
        self._not_before = not_before
        self._answers = hurried(longest)
        self.ahead: float | None = None

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
        headers = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
        return self._exchange("POST", path, key, expected, (_packed(body), headers))

    def get(self, path: str, key: str) -> dict[str, Any]:
        """Return the JSON object at a path below the collector's address.

        Raises
        ------
        DeliveryError
            Anything but a good answer came, or none.
        """
        return self._exchange("GET", path, key, 200, (None, {}))

    def _exchange(
        self,
        method: str,
        path: str,
        key: str | None,
        expected: int,
        sent: tuple[bytes | None, dict[str, str]],
    ) -> dict[str, Any]:
        body, more = sent
        headers = {
            "User-Agent": f"fadewatch-agent/{__version__}",
            "Accept": f"application/json, {_PROBLEM}",
            "Connection": "close",
            **more,
        }
        if key is not None:
            headers["Authorization"] = f"Bearer {key}"
        try:
            response, answer = self._exchanged(method, path, body, headers)
        except ssl.SSLCertVerificationError as error:
            if not self._trusts_their_clock(error):
                now = f"this laptop's clock says {datetime.now(UTC):%Y-%m-%d %H:%M} UTC"
                raise Unreachable(f"{self._collector}: {error}; {now}") from error
            try:
                response, answer = self._exchanged(method, path, body, headers)
            except (OSError, http.client.HTTPException, UnicodeError) as second:
                raise Unreachable(f"{self._collector}: {second!r}") from second
        except (OSError, http.client.HTTPException, UnicodeError) as error:
            # It may quote what came: a person reads it on a terminal.
            why = clean(str(error), _WORDS) or repr(error)
            raise Unreachable(f"{self._collector}: {why}") from error
        return _understood(response.status, answer, response.headers, expected)

    def _exchanged(
        self, method: str, path: str, body: bytes | None, headers: dict[str, str]
    ) -> tuple[http.client.HTTPResponse, bytes]:
        connection = self._connection()
        try:
            connection.request(method, self._parts.path + path, body, headers)
            response = connection.getresponse()
            self.ahead = seconds_ahead(response.headers.get("Date"))
            return response, whole(response)
        finally:
            connection.close()

    def _trusts_their_clock(self, error: ssl.SSLCertVerificationError) -> bool:
        """Go by the collector's clock where this laptop's finds its certificate old."""
        if error.verify_code not in OF_TIME or self._context is None:
            return False
        strict = self._context
        self._context = without_time(strict)
        connection = self._connection()
        try:
            trusted = is_valid_by_their_clock(
                connection, self._parts.path or "/", self._not_before
            )
        finally:
            connection.close()
        if not trusted:
            self._context = strict
        return trusted

    def _connection(self) -> http.client.HTTPConnection:
        connection = self._direct_or_by_proxy()
        connection.response_class = self._answers
        return connection

    def _direct_or_by_proxy(self) -> http.client.HTTPConnection:
        host, port = self._parts.hostname or "", self._parts.port
        if self._context is None:
            return http.client.HTTPConnection(host, port, timeout=self._timeout)
        if self._proxy is None:
            return http.client.HTTPSConnection(
                host, port, timeout=self._timeout, context=self._context
            )
        # The proxy is asked for a tunnel: it sees the collector's name, never a key.
        connection = http.client.HTTPSConnection(
            self._proxy.hostname or "",
            self._proxy.port or _PROXY_PORT,
            timeout=self._timeout,
            context=self._context,
        )
        connection.set_tunnel(host, port, _proxy_headers(self._proxy))
        return connection


def _packed(body: bytes) -> bytes:
    return zlib.compress(body, wbits=_GZIP)


def _proxy(collector: SplitResult, address: str | None = None) -> SplitResult | None:
    """Return the proxy of the settings, or else the system's; None for none."""
    # No proxy reaches this machine's own services.
    if is_loopback(collector):
        return None
    if address is not None:
        return _usable_proxy(address)
    if not _may_have_proxy():
        return None
    # Costs a tenth of a run, so only laptops that may have a proxy pay for it.
    from urllib.request import getproxies, proxy_bypass  # noqa: PLC0415

    address = getproxies().get("https")
    if not address or proxy_bypass(collector.hostname or ""):
        return None
    return _usable_proxy(address)


def _usable_proxy(address: str) -> SplitResult:
    proxy = urlsplit(address if "://" in address else f"http://{address}")
    try:
        usable = proxy.scheme in ("http", "https") and (proxy.port or _PROXY_PORT)
    except ValueError:
        usable = False
    if not usable or not proxy.hostname:
        # Not the whole address: it may hold the account's password.
        raise InvalidConfiguration(
            f"the proxy at {proxy.hostname or 'no host'} cannot be used"
        )
    return proxy


def _may_have_proxy() -> bool:
    # Elsewhere than on Linux the system keeps proxies outside the environment.
    names = (name.lower() for name in os.environ)
    return sys.platform != "linux" or any(name.endswith("_proxy") for name in names)


def _proxy_headers(proxy: SplitResult) -> dict[str, str]:
    if not proxy.username:
        return {}
    from base64 import b64encode  # noqa: PLC0415

    account = f"{unquote(proxy.username)}:{unquote(proxy.password or '')}"
    return {"Proxy-Authorization": f"Basic {b64encode(account.encode()).decode()}"}


def _trust(ca: Path | None) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=ca)
    except (OSError, ssl.SSLError) as error:
        raise InvalidConfiguration(f"ca {ca} cannot be used: {error}") from error


def _understood(
    status: int, answer: bytes, fields: Message, expected: int
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
    if target := clean(fields.get("Location") or "", _WORDS):
        words += f", a redirect to {target}, which is not followed"
    shown = clean(kind, _WORDS) or "no type"
    raise NotACollector(f"{words}, not what a collector says ({shown})")


def _object(answer: bytes) -> dict[str, Any] | None:
    try:
        record = json.loads(answer)
    except (ValueError, RecursionError):
        return None
    return record if isinstance(record, dict) else None


def _explained(record: dict[str, Any] | None) -> str:
    """Word a problem (RFC 9457) after the status."""
    told = [str((record or {}).get(name) or "") for name in ("title", "detail")]
    words = ": ".join(shown for part in told if (shown := clean(part, _WORDS)))
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
    date = parsed_date(asked)
    if date is None:
        return None
    seconds = (date - now).total_seconds()
    return min(max(seconds, 0.0), LONGEST_WAIT)
