"""Who may do what, and which names and passwords are taken."""

import unicodedata
from dataclasses import dataclass
from typing import Literal, get_args

Role = Literal["viewer", "technician", "administrator"]

ROLES: tuple[Role, ...] = get_args(Role)
"""Roles in rising order; each may do what the ones before it may."""

NAME_LENGTH = 64
"""Longest operator name [characters]. Own choice."""

PASSWORD_LENGTH = 12
"""Shortest password [characters].

Own choice, between the 8 that OWASP ASVS 5.0 asks for and the 15 it recommends.
"""

PASSWORD_LIMIT = 256
"""Longest password taken [characters]; hashing more only costs time. Own choice."""

SAFE_SCORE = 3
"""Least score of zxcvbn that a password needs: 10^8 guesses or more. Its author calls
that safe where guessing is slow (Wheeler, USENIX Security 2016)."""

SCORED = 40
"""Characters that are scored [count]: more make no password weaker, and the time grows
with their square. Own choice."""

CONTEXT_WORDS = ("fadewatch", "collector", "viewer", "technician", "administrator")
"""Words that anybody would try here."""


@dataclass(frozen=True, slots=True)
class Operator:
    """A person with an account on the collector."""

    id: int
    name: str
    role: Role


def subject_of(operator: Operator) -> str:
    """Return how the audit trail names an operator, by number."""
    return f"operator:{operator.id}"


def at_least(role: Role, needed: Role) -> bool:
    """Say whether a role may do what another role is needed for."""
    return ROLES.index(role) >= ROLES.index(needed)


def clean_name(name: str) -> str:
    """Return an operator name as it is kept: one spelling for one person."""
    return unicodedata.normalize("NFKC", name).strip().casefold()


def name_problem(name: str) -> str | None:
    """Say what is wrong with a cleaned operator name; None when it can be used."""
    if not name:
        return "the name is empty"
    if len(name) > NAME_LENGTH:
        return f"the name is longer than {NAME_LENGTH} characters"
    if not name.isprintable():
        return "the name has characters that cannot be shown"
    return None


def password_problem(name: str, password: str) -> str | None:
    """Say what is wrong with a password; None when it can be used."""
    if len(password) < PASSWORD_LENGTH:
        return f"the password is shorter than {PASSWORD_LENGTH} characters"
    if len(password) > PASSWORD_LIMIT:
        return f"the password is longer than {PASSWORD_LIMIT} characters"
    if clean_name(password).strip("0123456789!.") == name:
        return "the password is the name with a few signs added"
    if _score(name, password) < SAFE_SCORE:
        return (
            "the password would soon be guessed: it is common, or made of common "
            "words and patterns; take a few words that do not belong together"
        )
    return None


def _score(name: str, password: str) -> int:
    """Return from 0 to 4 how hard a password is to guess."""
    # Loaded here: its lists take a third of a second that only new passwords need.
    from zxcvbn import zxcvbn  # noqa: PLC0415

    told = zxcvbn(password[:SCORED], user_inputs=[name, *CONTEXT_WORDS])
    score: int = told["score"]
    return score
