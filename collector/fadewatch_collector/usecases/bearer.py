"""Random secrets that are shown once and kept as digests."""

import hashlib
import secrets

COMMAND_LINE = "command line"
"""Who acts, in the audit trail, when a command does."""

SECRET_BYTES = 32
"""Random bytes in a secret [bytes]; OWASP ASVS 5.0 11.5.1 asks for 16 or more."""


def new_token(prefix: str) -> str:
    """Return a new secret behind a prefix that says what it opens."""
    return prefix + secrets.token_urlsafe(SECRET_BYTES)


def digest_of(token: str) -> bytes:
    """Return the SHA-256 digest under which a secret is kept and looked up."""
    # Secrets are random, so a fast hash is enough, and the timing of a look-up by
    # digest tells nothing of the secret.
    return hashlib.sha256(token.encode()).digest()
