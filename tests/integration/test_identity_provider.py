"""A provider that is wrong, gone or hostile: what is asked of it, and what is taken."""

import json
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import jwt
import pytest
from aiohttp import web
from cryptography.hazmat.primitives.asymmetric import ec
from jwt.algorithms import ECAlgorithm

from fadewatch_collector.errors import NotSignedIn, ProviderTrouble
from fadewatch_collector.outbound.identity_provider import (
    IdentityProvider,
    ProviderSettings,
    open_provider,
)
from fadewatch_collector.outbound.provider_documents import MOST_BYTES
from tests.fakes.clock import StandingClock
from tests.fakes.identity_provider import LyingProvider, lying_provider

KEY = ec.generate_private_key(ec.SECP256R1())
NONCE, VERIFIER = "a nonce", "a verifier"


@pytest.fixture
async def there() -> AsyncIterator[LyingProvider]:
    async with lying_provider() as provider:
        public: dict[str, Any] = ECAlgorithm.to_jwk(KEY.public_key(), as_dict=True)
        provider.says["/keys"] = {"keys": [public | {"kid": "1"}]}
        provider.says["/token"] = {"id_token": token(provider), "access_token": "at"}
        yield provider


def token(provider: LyingProvider, **more: Any) -> str:
    now = int(time.time())
    said = {
        "iss": provider.issuer, "sub": "7", "aud": "us", "exp": now + 60, "iat": now,
        "nonce": NONCE,
    }  # fmt: skip
    return jwt.encode(said | more, KEY, "ES256", headers={"kid": "1"})


@asynccontextmanager
async def opened(there: LyingProvider, **more: Any) -> AsyncIterator[IdentityProvider]:
    settings: dict[str, Any] = {
        "issuer": more.get("issuer") or there.issuer, "client_id": "us", "client_secret": None,
        "scopes": "openid", "redirect_uri": "https://collector.example/back",
    }  # fmt: skip
    chosen = ProviderSettings(**(settings | more))
    async with open_provider(chosen, None, StandingClock()) as provider:
        yield provider


async def begun(there: LyingProvider, **more: Any) -> str:
    async with opened(there, **more) as provider:
        return await provider.sign_in_address(
            state="a state", nonce=NONCE, verifier=VERIFIER
        )


async def claims_from(there: LyingProvider, **more: Any) -> Any:
    async with opened(there, **more) as provider:
        return await provider.claims_of("a code", nonce=NONCE, verifier=VERIFIER)


async def test_the_verifier_goes_to_the_token_endpoint_and_only_its_digest_before(
    there: LyingProvider,
) -> None:
    # RFC 7636 appendix B.
    verifier = "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"
    async with opened(there) as provider:
        address = await provider.sign_in_address(
            state="a state", nonce=NONCE, verifier=verifier
        )
        await provider.claims_of("a code", nonce=NONCE, verifier=verifier)

    assert "code_challenge=E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM" in address
    assert "code_challenge_method=S256" in address
    assert verifier not in address
    (form,) = [body for path, body in there.asked if path == "/token"]
    assert f"code_verifier={verifier}" in form


async def test_another_issuer_than_the_one_set_is_not_talked_to(
    there: LyingProvider,
) -> None:
    there.metadata(issuer="https://evil.example")

    with pytest.raises(ProviderTrouble, match="another issuer"):
        await begun(there)


ELSEWHERE = (
    "https://evil.example/authorize",
    "http://evil.example/authorize",
    "//evil.example/x",
    "javascript:alert(1)",
    "https://us@127.0.0.1/",
    "/authorize",
    "https://[::1",
    7,
    None,
)


@pytest.mark.parametrize("address", ELSEWHERE, ids=str)
async def test_addresses_lead_nowhere_but_to_the_issuers_own_host(
    there: LyingProvider, address: object
) -> None:
    for name in ("authorization_endpoint", "token_endpoint", "jwks_uri"):
        there.metadata(**{name: address})
        ask = begun if name == "authorization_endpoint" else claims_from
        with pytest.raises(ProviderTrouble):
            await ask(there)


async def test_another_host_is_used_where_the_settings_name_it_and_over_tls_only(
    there: LyingProvider,
) -> None:
    there.metadata(authorization_endpoint="https://login.example/authorize?tenant=1")
    address = await begun(there, other_hosts=frozenset({"login.example"}))
    assert address.startswith("https://login.example/authorize?tenant=1&")

    there.metadata(authorization_endpoint="http://login.example/authorize")
    with pytest.raises(ProviderTrouble):
        await begun(there, other_hosts=frozenset({"login.example"}))


async def test_redirects_are_not_followed(there: LyingProvider) -> None:
    def away() -> web.Response:
        return web.Response(status=302, headers={"Location": there.issuer + "/loot"})

    for path in ("/.well-known/openid-configuration", "/keys", "/token"):
        kept, there.says[path] = there.says[path], away
        with pytest.raises((ProviderTrouble, NotSignedIn)):
            await claims_from(there)
        there.says[path] = kept

    assert "/loot" not in {path for path, _ in there.asked}


NONSENSE = (
    lambda: web.Response(text="<html>a proxy's page</html>"),
    lambda: web.Response(text="[" * 100_000),
    lambda: web.Response(text="[]"),
    lambda: web.Response(body=b"{" + b" " * (MOST_BYTES + 1) + b"}"),
    lambda: web.Response(status=500),
    lambda: web.json_response({}),
)


@pytest.mark.parametrize("nonsense", range(len(NONSENSE)))
async def test_nonsense_is_explained_and_lets_nobody_in(
    there: LyingProvider, nonsense: int
) -> None:
    for path in ("/.well-known/openid-configuration", "/keys", "/token"):
        kept, there.says[path] = there.says[path], NONSENSE[nonsense]
        with pytest.raises((ProviderTrouble, NotSignedIn)):
            await claims_from(there)
        there.says[path] = kept


async def test_made_up_keys_do_not_make_us_ask_the_provider_each_time(
    there: LyingProvider,
) -> None:
    forged = jwt.encode({"sub": "1"}, KEY, "ES256", headers={"kid": "made up"})
    there.says["/token"] = {"id_token": forged}
    async with opened(there) as provider:
        for _ in range(20):
            with pytest.raises(NotSignedIn):
                await provider.claims_of("a code", nonce=NONCE, verifier=VERIFIER)

    assert len([path for path, _ in there.asked if path == "/keys"]) == 1


async def test_a_claim_that_the_id_token_leaves_out_is_asked_for(
    there: LyingProvider,
) -> None:
    there.says["/userinfo"] = {"sub": "7", "groups": ["desk"], "iss": "https://other"}

    claims = await claims_from(there, wanted_claims=["groups"])

    assert claims["groups"] == ["desk"]
    # What is signed stands above what is not.
    assert claims["iss"] == there.issuer


async def test_userinfo_about_somebody_else_is_refused(there: LyingProvider) -> None:
    there.says["/userinfo"] = {"sub": "8", "groups": ["keepers"]}

    with pytest.raises(NotSignedIn):
        await claims_from(there, wanted_claims=["groups"])


async def test_userinfo_is_not_asked_for_what_is_known(there: LyingProvider) -> None:
    there.says["/token"] = {"id_token": token(there, groups=[]), "access_token": "at"}

    await claims_from(there, wanted_claims=["groups"])

    assert "/userinfo" not in json.dumps(there.asked)


async def test_the_secret_is_sent_in_the_way_that_the_provider_takes(
    there: LyingProvider,
) -> None:
    there.metadata(token_endpoint_auth_methods_supported=["client_secret_post"])

    await claims_from(there, client_secret="a secret")  # noqa: S106

    (form,) = [body for path, body in there.asked if path == "/token"]
    assert "client_secret=a+secret" in form


async def test_a_provider_that_is_gone_is_trouble_not_a_crash(
    there: LyingProvider,
) -> None:
    there.metadata()
    gone = there.issuer
    await there.server.close()

    with pytest.raises(ProviderTrouble, match="cannot be reached"):
        await begun(there, issuer=gone)
