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

DIFFERENT_CHARACTERS = 5
"""Fewest different characters in a password [count]. Own choice."""


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
    if len(set(password)) < DIFFERENT_CHARACTERS:
        return (
            f"the password has fewer than {DIFFERENT_CHARACTERS} different characters"
        )
    if clean_name(password).strip("0123456789!.") == name:
        return "the password is the name with a few signs added"
    return None
