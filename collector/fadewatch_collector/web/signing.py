"""Signatures of the pages: session cookies and the tokens of forms."""

import hashlib
import hmac

from itsdangerous import BadSignature, Signer


class Signing:
    """Signs with the store's cookie secret.

    A form's token is a signature over what the browser is bound to (its session, or
    before that its visit): it cannot be made without the secret and is worthless in
    any other session.
    """

    def __init__(self, secret: str) -> None:
        self._cookies = _signer(secret, "fadewatch.cookie")
        self._forms = _signer(secret, "fadewatch.form")
        self._flows = _signer(secret, "fadewatch.flow")

    def sealed(self, value: str) -> str:
        """Return a value with its signature, as a cookie carries it."""
        return self._cookies.sign(value).decode()

    def opened(self, sealed: str) -> str | None:
        """Return the value of a sealed text; None when the signature is not ours."""
        try:
            return self._cookies.unsign(sealed).decode()
        except (BadSignature, UnicodeError):
            return None

    def derived(self, purpose: str, value: str) -> str:
        """Return a secret that only we can make again from a value: 43 characters."""
        return self._flows.get_signature(f"{purpose}:{value}").decode()

    def form_token(self, bound_to: str) -> str:
        """Return the token that forms carry in one session or visit."""
        return self._forms.get_signature(bound_to).decode()

    def is_form_token(self, token: str, bound_to: str) -> bool:
        """Say whether a form's token belongs to the session or visit."""
        return hmac.compare_digest(
            token.encode("utf-8", "replace"), self.form_token(bound_to).encode()
        )


def _signer(secret: str, salt: str) -> Signer:
    return Signer(
        secret, salt=salt, key_derivation="hmac", digest_method=hashlib.sha256
    )
