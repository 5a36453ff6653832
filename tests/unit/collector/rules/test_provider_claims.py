"""What claims mean: which role, which name."""

from typing import Any

import pytest

from fadewatch_collector.rules.operators import Role
from fadewatch_collector.rules.provider_claims import ClaimRules

RULES = ClaimRules(
    name_claim="preferred_username",
    role_claim="groups",
    values={"viewer": ["all"], "technician": ["desk"], "administrator": ["keepers"]},
)


@pytest.mark.parametrize(
    ("groups", "role"),
    [
        (["all"], "viewer"),
        (["keepers", "all"], "administrator"),
        (["choir", "desk", "all"], "technician"),
        ("desk", "technician"),
        (["choir"], None),
        ("all desk", None),
        (["ALL"], None),
        ([], None),
        (None, None),
        ({"desk": True}, None),
        ([["desk"], 7, None], None),
    ],
)
def test_the_highest_role_that_is_given_counts(groups: Any, role: Role | None) -> None:
    assert RULES.role_of({"groups": groups}) == role


def test_a_claim_inside_an_object_is_found_by_its_dots() -> None:
    rules = ClaimRules("a.name", "realm_access.roles", {"viewer": ["all"]})
    said = {"realm_access": {"roles": ["all"]}, "a": {"name": " Ada "}}

    assert (rules.role_of(said), rules.name_of(said)) == ("viewer", "ada")
    assert rules.role_of({"realm_access": "roles"}) is None


def test_a_claim_may_have_dots_of_its_own() -> None:
    rules = ClaimRules("name", "https://example.org/roles", {"viewer": ["all"]})

    assert rules.role_of({"https://example.org/roles": ["all"]}) == "viewer"


def test_without_values_the_provider_gives_no_roles() -> None:
    assert not ClaimRules("name", "groups", {"viewer": []}).gives_roles
    assert RULES.gives_roles


def test_a_name_that_is_none_is_empty() -> None:
    for said in ({}, {"preferred_username": None}, {"preferred_username": ["ada"]}):
        assert RULES.name_of(said) == ""
