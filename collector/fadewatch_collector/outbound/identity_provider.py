"""The organisation's identity provider: OpenID Connect, authorization code with PKCE."""

import base64
import hashlib
import logging
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime
from http import HTTPStatus
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode, urlsplit

import aiohttp

from fadewatch_collector.errors import NotSignedIn
from fadewatch_collector.outbound.id_tokens import (
    NotGenuine,
    UnknownKey,
    proven_claims,
)
from fadewatch_collector.outbound.provider_documents import (
    KEEP,
    LOOK_AGAIN,
    ProviderDocuments,
)
from fadewatch_collector.outbound.tls import trust

NOT_TAKEN = "your organisation's answer was not accepted; begin the sign-in again"

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ProviderSettings:
    """How we are known to the provider.

    Attributes
    ----------
    other_hosts
        Hosts besides the issuer's that its addresses may lead to.
    wanted_claims
        If one is missing in the ID token, the provider's userinfo is asked.
    """

    issuer: str
    client_id: str
    client_secret: str | None = field(repr=False)
    scopes: str
    redirect_uri: str
    other_hosts: frozenset[str] = frozenset()
    wanted_claims: Sequence[str] = ()


@asynccontextmanager
async def open_provider(
    settings: ProviderSettings, private_ca: Path | None, clock: Callable[[], datetime]
) -> AsyncIterator["IdentityProvider"]:
    """Give the provider; nothing is connected before the first sign-in.

    Raises
    ------
    InvalidRequest
        The file of the private authority holds no certificate.
    """
    async with aiohttp.ClientSession(
        connector=aiohttp.TCPConnector(ssl=trust(private_ca)),
        cookie_jar=aiohttp.DummyCookieJar(),
        trust_env=False,
    ) as session:
        yield IdentityProvider(session, settings, clock)


class IdentityProvider:
    """Talks to the provider; remembers its addresses and keys for a while."""

    def __init__(
        self,
        session: aiohttp.ClientSession,
        settings: ProviderSettings,
        clock: Callable[[], datetime],
    ) -> None:
        self.settings = settings
        self._documents = ProviderDocuments(
            session, settings.issuer, settings.other_hosts, clock
        )

    async def sign_in_address(self, *, state: str, nonce: str, verifier: str) -> str:
        """Return where a browser goes to sign in (RFC 6749 4.1.1, RFC 7636 4.3).

        Raises
        ------
        ProviderTrouble
            The provider cannot be asked.
        """
        challenge = hashlib.sha256(verifier.encode()).digest()
        return await self._with_query(
            "authorization_endpoint",
            {
                "response_type": "code",
                "client_id": self.settings.client_id,
                "redirect_uri": self.settings.redirect_uri,
                "scope": self.settings.scopes,
                "state": state,
                "nonce": nonce,
                "code_challenge": base64.urlsafe_b64encode(challenge)
                .rstrip(b"=")
                .decode(),
                "code_challenge_method": "S256",
            },
        )

    async def sign_out_address(self, back: str) -> str | None:
        """Return where a browser goes to sign out there too; None if it cannot."""
        if "end_session_endpoint" not in await self._documents.metadata():
            return None
        return await self._with_query(
            "end_session_endpoint",
            {"client_id": self.settings.client_id, "post_logout_redirect_uri": back},
        )

    async def claims_of(
        self, code: str, *, nonce: str, verifier: str
    ) -> Mapping[str, Any]:
        """Turn the code that a browser brought into what the provider vouches for.

        Raises
        ------
        NotSignedIn
            The code or the ID token is not genuine.
        ProviderTrouble
            The provider cannot be asked.
        """
        tokens = await self._tokens(code, verifier)
        id_token = tokens.get("id_token")
        if not isinstance(id_token, str):
            raise _refused("no ID token came")
        try:
            claims = await self._proven(id_token, nonce)
        except NotGenuine as problem:
            raise _refused(str(problem)) from None
        missing = [one for one in self.settings.wanted_claims if one not in claims]
        if missing and "userinfo_endpoint" in await self._documents.metadata():
            claims = {**await self._userinfo(tokens, claims), **claims}
        return claims

    async def _proven(self, id_token: str, nonce: str) -> Mapping[str, Any]:
        try:
            return self._check(id_token, await self._documents.keys(KEEP), nonce)
        except UnknownKey:
            # Providers change their keys; the new one is in the newest set.
            return self._check(id_token, await self._documents.keys(LOOK_AGAIN), nonce)

    def _check(
        self, id_token: str, keys: Sequence[Mapping[str, Any]], nonce: str
    ) -> Mapping[str, Any]:
        return proven_claims(
            id_token,
            keys,
            issuer=self.settings.issuer,
            client_id=self.settings.client_id,
            nonce=nonce,
        )

    async def _tokens(self, code: str, verifier: str) -> Mapping[str, Any]:
        form = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": self.settings.redirect_uri,
            "code_verifier": verifier,
        }
        headers = {}
        client_id, secret = self.settings.client_id, self.settings.client_secret
        ways = (await self._documents.metadata()).get(
            "token_endpoint_auth_methods_supported", ["client_secret_basic"]
        )
        if secret is not None and "client_secret_basic" in ways:
            # RFC 6749 2.3.1: both are form-encoded first.
            pair = f"{quote(client_id, safe='')}:{quote(secret, safe='')}"
            headers["Authorization"] = (
                "Basic " + base64.b64encode(pair.encode()).decode()
            )
        else:
            form["client_id"] = client_id
            if secret is not None:
                form["client_secret"] = secret
        address = await self._documents.endpoint("token_endpoint")
        status, answer = await self._documents.ask("POST", address, headers, form)
        if status != HTTPStatus.OK:
            # Such as invalid_grant: the code was used before, or is somebody else's.
            raise _refused(f"the token endpoint answered {status}")
        return answer

    async def _userinfo(
        self, tokens: Mapping[str, Any], claims: Mapping[str, Any]
    ) -> Mapping[str, Any]:
        address = await self._documents.endpoint("userinfo_endpoint")
        bearer = {"Authorization": f"Bearer {tokens.get('access_token', '')}"}
        status, more = await self._documents.ask("GET", address, bearer)
        # OpenID Connect Core 5.3.2: it must be about the same person.
        if status != HTTPStatus.OK or more.get("sub") != claims["sub"]:
            raise _refused("the userinfo is not about who signed in")
        return more

    async def _with_query(self, endpoint: str, query: Mapping[str, str]) -> str:
        address = await self._documents.endpoint(endpoint)
        joint = "&" if urlsplit(address).query else "?"
        return address + joint + urlencode(query)


def _refused(why: str) -> NotSignedIn:
    _log.warning("sign-in at the organisation's provider refused: %s", why)
    return NotSignedIn(NOT_TAKEN)
