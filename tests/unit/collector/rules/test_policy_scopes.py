"""Which policy is in force: the fleet's, a site's, a laptop model's."""

import pytest

from fadewatch_collector.rules.policy_scopes import (
    changes_problem,
    policy_in_force,
    scopes_of,
)
from fadewatch_common.policy import DEFAULT_POLICY


def test_the_narrowest_scope_wins() -> None:
    changes = {
        "fleet": {"plan_wear": 0.25, "silent_days": 7},
        "site:North": {"plan_wear": 0.20},
        "model:Brightmoor|Tern 14": {"plan_wear": 0.15},
    }
    scopes = scopes_of("North", "Brightmoor", "Tern 14")

    policy = policy_in_force(DEFAULT_POLICY, changes, scopes)

    assert (policy.plan_wear, policy.silent_days) == (0.15, 7)


def test_another_site_has_the_fleets() -> None:
    changes = {"site:North": {"plan_wear": 0.20}}
    scopes = scopes_of("South", "Brightmoor", "Tern 14")

    assert policy_in_force(DEFAULT_POLICY, changes, scopes) == DEFAULT_POLICY


def test_scopes_that_contradict_each_other_leave_the_wider_one() -> None:
    changes = {"fleet": {"replace_wear": 0.33}, "site:North": {"plan_wear": 0.35}}

    policy = policy_in_force(DEFAULT_POLICY, changes, scopes_of("North", None, None))

    assert (policy.plan_wear, policy.replace_wear) == (0.30, 0.33)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"plan_wear": 30}, "from 0.05 to 0.9"),
        ({"plan_wear": 0.5}, "must be above"),
        ({"replace_wear": 0.305}, "hysteresis"),
        ({"silent_days": 2.5}, "whole number"),
        ({"silent_days": "7"}, "not a number"),
        ({"silent_days": True}, "not a number"),
        ({"colour": 1}, "no setting colour"),
        ({"plan_wear": float("nan")}, "from 0.05"),
    ],
)
def test_a_value_that_cannot_be_is_refused(
    changes: dict[str, object], why: str
) -> None:
    assert why in (changes_problem(DEFAULT_POLICY, changes) or "")


def test_good_changes_are_kept() -> None:
    assert changes_problem(DEFAULT_POLICY, {"plan_wear": 0.2}) is None


def test_a_hysteresis_as_wide_as_the_gap_is_refused() -> None:
    assert "hysteresis" in (
        changes_problem(DEFAULT_POLICY, {"hysteresis_wear": 0.10}) or ""
    )
