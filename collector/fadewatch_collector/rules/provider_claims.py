"""What an identity provider's claims mean here: a name and a role."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from fadewatch_collector.rules.operators import ROLES, Role, clean_name


@dataclass(frozen=True, slots=True)
class ClaimRules:
    """How claims are read.

    Attributes
    ----------
    name_claim, role_claim
        Where they stand; a dot leads into an object, as in ``realm_access.roles``.
    values
        Values of the role's claim by the role that they give; none at all: the
        provider says who somebody is, and roles are given here.
    """

    name_claim: str
    role_claim: str
    values: Mapping[Role, Collection[str]]

    @property
    def gives_roles(self) -> bool:
        """Whether the provider decides about roles."""
        return any(self.values.values())

    def role_of(self, claims: Mapping[str, Any]) -> Role | None:
        """Return the highest role that the claims give; None when they give none."""
        said = _at(claims, self.role_claim)
        held = {said} if isinstance(said, str) else _texts(said)
        for role in reversed(ROLES):
            if held & set(self.values.get(role, ())):
                return role
        return None

    def name_of(self, claims: Mapping[str, Any]) -> str:
        """Return the name somebody goes by; empty when the claims have none."""
        said = _at(claims, self.name_claim)
        return clean_name(said) if isinstance(said, str) else ""


def _at(claims: Mapping[str, Any], path: str) -> Any:
    # Claims named by an address, as "https://example/roles", hold dots themselves.
    if path in claims:
        return claims[path]
    found: Any = claims
    for part in path.split("."):
        if not isinstance(found, Mapping):
            return None
        found = found.get(part)
    return found


def _texts(value: Any) -> set[str]:
    if not isinstance(value, list):
        return set()
    return {one for one in value if isinstance(one, str)}
