"""What an identity provider says of itself: its addresses and its keys.

Connections go to the issuer's own host and to hosts that the settings name, over TLS
with certificates checked, without following redirects; plain http is for loopback.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from http import HTTPStatus
from typing import Any
from urllib.parse import urlsplit

import aiohttp

from fadewatch_collector.errors import ProviderTrouble
from fadewatch_collector.outbound.addresses import is_loopback

KEEP = timedelta(hours=1)
"""How long what the provider says of itself is kept. Own choice."""

LOOK_AGAIN = timedelta(seconds=30)
"""How soon keys may be asked for anew when a token names an unknown one. Own choice:
who sends made-up tokens must not make us ask the provider each time."""

TIMEOUT = aiohttp.ClientTimeout(total=15, connect=5)
"""How long the provider may take [s]. Own choice."""

MOST_BYTES = 512 * 1024
"""Largest answer taken [bytes]. Own choice."""


@dataclass(slots=True)
class _Kept:
    value: Mapping[str, Any]
    at: datetime


class ProviderDocuments:
    """Asks the provider, and remembers its documents for a while.

    Every method raises ``ProviderTrouble`` when the provider cannot be asked.
    """

    def __init__(
        self,
        session: aiohttp.ClientSession,
        issuer: str,
        other_hosts: frozenset[str],
        clock: Callable[[], datetime],
    ) -> None:
        self._session = session
        self._issuer = issuer
        self._other_hosts = other_hosts
        self._clock = clock
        self._kept: dict[str, _Kept] = {}

    async def keys(self, keep: timedelta) -> Sequence[Mapping[str, Any]]:
        """Return the provider's keys, not older than some time (RFC 7517)."""
        address = await self.endpoint("jwks_uri")
        keys = (await self._document(address, keep)).get("keys")
        if not isinstance(keys, list):
            raise ProviderTrouble("its keys are no JWK set")
        return [key for key in keys if isinstance(key, dict)]

    async def metadata(self) -> Mapping[str, Any]:
        """Return what the provider says of itself (OpenID Connect Discovery 1.0)."""
        issuer = self._issuer
        address = issuer.rstrip("/") + "/.well-known/openid-configuration"
        found = await self._document(address, KEEP)
        if found.get("issuer") != issuer:
            raise ProviderTrouble(
                "it says to be another issuer than FADEWATCH_OIDC_ISSUER"
            )
        return found

    async def endpoint(self, name: str) -> str:
        """Return one of the provider's addresses, if it may be used."""
        address = (await self.metadata()).get(name)
        if not isinstance(address, str) or not self._is_allowed(address):
            raise ProviderTrouble(
                f"its {name} is missing or on a host that is not allowed; name such a "
                "host in FADEWATCH_OIDC_OTHER_HOSTS"
            )
        return address

    def _is_allowed(self, address: str) -> bool:
        try:
            parts, own = urlsplit(address), urlsplit(self._issuer)
            host, _port = parts.hostname, parts.port
        except ValueError:
            return False
        if host is None or parts.username is not None:
            return False
        if parts.netloc != own.netloc and host not in self._other_hosts:
            return False
        return parts.scheme == "https" or (parts.scheme == "http" and is_loopback(host))

    async def _document(self, address: str, keep: timedelta) -> Mapping[str, Any]:
        now = self._clock()
        kept = self._kept.get(address)
        if kept is not None and now - kept.at < keep:
            return kept.value
        status, found = await self.ask("GET", address)
        if status != HTTPStatus.OK:
            raise ProviderTrouble(f"it answered {status}")
        self._kept[address] = _Kept(found, now)
        return found

    async def ask(
        self,
        method: str,
        address: str,
        headers: Mapping[str, str] | None = None,
        form: Mapping[str, str] | None = None,
    ) -> tuple[int, Mapping[str, Any]]:
        """Ask for a JSON object; it is empty when the status is not 200."""
        try:
            async with self._session.request(
                method,
                address,
                data=form,
                headers={"Accept": "application/json", **(headers or {})},
                allow_redirects=False,
                timeout=TIMEOUT,
            ) as answer:
                body = await answer.content.read(MOST_BYTES)
                while len(body) < MOST_BYTES and not answer.content.at_eof():
                    body += await answer.content.read(MOST_BYTES - len(body))
                status = answer.status
        except (aiohttp.ClientError, TimeoutError, OSError) as problem:
            raise ProviderTrouble(
                f"it cannot be reached ({type(problem).__name__})"
            ) from None
        return status, _object(body) if status == HTTPStatus.OK else {}


def _object(body: bytes) -> Mapping[str, Any]:
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise ProviderTrouble("its answer is no JSON object")
    return found
