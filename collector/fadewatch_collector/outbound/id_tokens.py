"""ID tokens of OpenID Connect: whether one is genuine, for us, and still good.

OpenID Connect Core 1.0 section 3.1.3.7; signatures and times by PyJWT.
"""

import hmac
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

import jwt

ALGORITHMS = frozenset(
    {"RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512"}
    | {"EdDSA"}
)
"""Signatures taken: by keys of two halves only. "none" is no signature, and with a
shared secret (HS256) the public half would do for one."""

LEEWAY = timedelta(seconds=60)
"""How far the provider's clock may be off. Own choice."""

_LONGEST = 64 * 1024

_NEEDED = ["iss", "sub", "aud", "exp", "iat"]


class NotGenuine(Exception):
    """An ID token that is not taken; the message never holds any of it."""


class UnknownKey(NotGenuine):
    """It is signed with a key that is not among the provider's."""


def proven_claims(
    token: str,
    keys: Sequence[Mapping[str, Any]],
    *,
    issuer: str,
    client_id: str,
    nonce: str,
) -> Mapping[str, Any]:
    """Return what a genuine ID token claims.

    Parameters
    ----------
    keys
        The provider's keys, as its JWK set has them (RFC 7517).
    nonce
        What was sent with the request that this token answers.

    Raises
    ------
    UnknownKey
        It may be signed with a newer key than those known.
    NotGenuine
        It is not for us, not from the issuer, expired, an answer to something else,
        or not signed as it should be.
    """
    if len(token) > _LONGEST:
        raise NotGenuine("the ID token is too long")
    try:
        claims: Mapping[str, Any] = jwt.decode(
            token,
            _key_for(token, keys),
            audience=client_id,
            issuer=issuer,
            leeway=LEEWAY,
            options={"require": _NEEDED, "enforce_minimum_key_length": True},
        )
    except jwt.PyJWTError as problem:
        # Their words may quote the token.
        raise NotGenuine(type(problem).__name__) from None
    _refuse_other_parties(claims, client_id)
    sent = claims.get("nonce")
    if not isinstance(sent, str) or not hmac.compare_digest(
        sent.encode(), nonce.encode()
    ):
        raise NotGenuine("the nonce is not ours")
    return claims


def _key_for(token: str, keys: Sequence[Mapping[str, Any]]) -> jwt.PyJWK:
    """Choose the key by the token's header; the key decides about the algorithm."""
    header = jwt.get_unverified_header(token)
    algorithm = header.get("alg")
    if header.get("typ", "JWT").upper() != "JWT":
        raise NotGenuine("it is a token of another sort")
    if algorithm not in ALGORITHMS:
        raise NotGenuine("the signature's algorithm is not taken")
    fitting = [
        key
        for key in keys
        if key.get("use", "sig") == "sig"
        and key.get("kty") != "oct"
        and key.get("alg", algorithm) == algorithm
        and ("kid" not in header or key.get("kid") == header["kid"])
    ]
    if len(fitting) != 1:
        raise UnknownKey("no key fits, or several do")
    return jwt.PyJWK(dict(fitting[0]), algorithm)


def _refuse_other_parties(claims: Mapping[str, Any], client_id: str) -> None:
    audience, party = claims["aud"], claims.get("azp")
    has_others = isinstance(audience, list) and len(audience) > 1
    if (has_others or party is not None) and party != client_id:
        raise NotGenuine("the ID token was made for somebody else")
