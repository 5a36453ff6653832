"""Which ID tokens are taken: attacks of RFC 8725 and OpenID Connect Core 3.1.3.7."""

import base64
import hashlib
import hmac
import json
import time
from collections.abc import Callable, Mapping
from datetime import timedelta
from functools import cache, partial
from typing import Any

import jwt
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from jwt.algorithms import ECAlgorithm, RSAAlgorithm

from fadewatch_collector.outbound.id_tokens import (
    NotGenuine,
    UnknownKey,
    proven_claims,
)

ISSUER = "https://login.example.org"
CLIENT = "fadewatch"
NONCE = "n-0S6_WzA2Mj"
"""As in the example of OpenID Connect Core 1.0 section 3.1.2.1."""


@cache
def rsa_key(name: str = "one", bits: int = 2048) -> rsa.RSAPrivateKey:
    del name
    return rsa.generate_private_key(public_exponent=65537, key_size=bits)


@cache
def ec_key() -> ec.EllipticCurvePrivateKey:
    return ec.generate_private_key(ec.SECP256R1())


def jwk(key: Any, **more: str) -> dict[str, Any]:
    public = key.public_key()
    kind = RSAAlgorithm if isinstance(key, rsa.RSAPrivateKey) else ECAlgorithm
    return {**kind.to_jwk(public, as_dict=True), "kid": "1", **more}


def claims(**changes: Any) -> dict[str, Any]:
    """Give good claims with changes; a timedelta stands for that long from now."""
    now = int(time.time())
    whole = {
        "iss": ISSUER,
        "sub": "248289761001",
        "aud": CLIENT,
        "exp": now + 300,
        "iat": now,
        "nonce": NONCE,
    }
    return {
        name: now + int(value.total_seconds())
        if isinstance(value, timedelta)
        else value
        for name, value in (whole | changes).items()
        if value is not None
    }


def signed(
    said: Mapping[str, Any], key: Any = None, alg: str = "RS256", **header: Any
) -> str:
    return jwt.encode(dict(said), key or rsa_key(), alg, headers={"kid": "1"} | header)


def by_hand(
    header: Mapping[str, Any], said: Mapping[str, Any], sign: Callable[[bytes], bytes]
) -> str:
    """Build what no library would sign."""
    parts = [encoded(json.dumps(part).encode()) for part in (header, said)]
    start = ".".join(parts)
    return f"{start}.{encoded(sign(start.encode()))}"


def mac(secret: bytes, text: bytes) -> bytes:
    return hmac.new(secret, text, hashlib.sha256).digest()


def encoded(part: bytes) -> str:
    return base64.urlsafe_b64encode(part).rstrip(b"=").decode()


def taken(
    token: str, *keys: Mapping[str, Any], nonce: str = NONCE
) -> Mapping[str, Any]:
    return proven_claims(
        token,
        keys or (jwk(rsa_key()),),
        issuer=ISSUER,
        client_id=CLIENT,
        nonce=nonce,
    )


@pytest.mark.parametrize("alg", ["RS256", "RS512", "PS256"])
def test_a_genuine_token_tells_who_it_is(alg: str) -> None:
    assert taken(signed(claims(), alg=alg))["sub"] == "248289761001"


def test_keys_of_elliptic_curves_are_taken_beside_others() -> None:
    token = signed(claims(), ec_key(), "ES256", kid="2")

    assert taken(token, jwk(rsa_key()), jwk(ec_key(), kid="2", use="sig"))["sub"]


def test_a_token_without_a_signature_is_refused() -> None:
    for alg in ("none", "None", "nOnE", ""):
        token = by_hand({"alg": alg, "kid": "1"}, claims(), lambda _: b"")
        with pytest.raises(NotGenuine):
            taken(token)


def test_the_public_key_is_no_shared_secret() -> None:
    """RFC 8725 section 2.1: HS256 with the public half as the secret."""
    public = rsa_key().public_key()
    for form in (serialization.Encoding.PEM, serialization.Encoding.DER):
        secret = public.public_bytes(
            form, serialization.PublicFormat.SubjectPublicKeyInfo
        )
        token = by_hand({"alg": "HS256", "kid": "1"}, claims(), partial(mac, secret))
        with pytest.raises(NotGenuine):
            taken(token)


def test_a_shared_secret_is_not_taken_even_from_the_providers_own_keys() -> None:
    secret = b"a secret of thirty-two bytes....."
    token = signed(claims(), secret, "HS256")

    with pytest.raises(NotGenuine):
        taken(token, {"kty": "oct", "kid": "1", "k": encoded(secret)})


def test_a_key_that_the_token_brings_along_proves_nothing() -> None:
    """RFC 8725 section 3.10: jwk, jku and x5u come from whoever made the token."""
    own = rsa_key("the attacker's")
    for header in (
        {"jwk": jwk(own)},
        {"jku": "https://evil.example/keys", "kid": "evil"},
        {"x5u": "https://evil.example/cert"},
    ):
        with pytest.raises(NotGenuine):
            taken(signed(claims(), own, **header))


def test_a_changed_token_is_refused() -> None:
    start, _, end = signed(claims()).split(".")
    forged = encoded(json.dumps(claims(sub="1")).encode())

    with pytest.raises(NotGenuine):
        taken(f"{start}.{forged}.{end}")


def test_an_unknown_key_is_told_apart_so_that_the_newest_can_be_asked_for() -> None:
    with pytest.raises(UnknownKey):
        taken(signed(claims(), kid="2"))


def test_a_key_for_encryption_or_another_algorithm_signs_nothing() -> None:
    for more in ({"use": "enc"}, {"alg": "RS512"}):
        with pytest.raises(NotGenuine):
            taken(signed(claims()), jwk(rsa_key(), **more))


def test_a_key_too_short_to_be_safe_is_refused() -> None:
    short = rsa_key("short", 1024)
    with pytest.warns(jwt.warnings.InsecureKeyLengthWarning):
        token = signed(claims(), short)

    with pytest.raises(NotGenuine):
        taken(token, jwk(short))


NOT_FOR_US: tuple[dict[str, Any], ...] = (
    {"iss": "https://login.example.org/"},
    {"iss": "https://evil.example"},
    {"iss": None},
    {"sub": None},
    {"aud": "another"},
    {"aud": None},
    {"aud": [CLIENT, "another"]},
    {"aud": [CLIENT, "another"], "azp": "another"},
    {"azp": "another"},
    {"exp": timedelta(hours=-1)},
    {"exp": None},
    {"iat": None},
    {"iat": timedelta(hours=2)},
    {"nbf": timedelta(hours=2)},
    {"nonce": None},
    {"nonce": "another"},
    {"nonce": 7},
)


@pytest.mark.parametrize("changes", NOT_FOR_US, ids=str)
def test_a_token_that_is_not_for_us_or_not_good_now_is_refused(
    changes: dict[str, Any],
) -> None:
    with pytest.raises(NotGenuine):
        taken(signed(claims(**changes)))


def test_several_audiences_are_taken_if_it_was_made_for_us() -> None:
    token = signed(claims(aud=[CLIENT, "another"], azp=CLIENT))

    assert taken(token)["azp"] == CLIENT


def test_another_sort_of_token_is_not_an_id_token() -> None:
    for sort in ("at+jwt", "logout+jwt"):
        with pytest.raises(NotGenuine):
            taken(signed(claims(), typ=sort))


@pytest.mark.parametrize("text", ["", "a.b.c", "." * 5, "x" * 70_000, "\u00e4.b.c"])
def test_what_is_no_token_is_refused(text: str) -> None:
    with pytest.raises(NotGenuine):
        taken(text)


def test_a_refusal_never_quotes_the_token() -> None:
    token = signed(claims(iss="https://evil.example", email="ada@example.org"))

    with pytest.raises(NotGenuine) as refusal:
        taken(token)

    assert "evil" not in str(refusal.value)
    assert refusal.value.__cause__ is None
