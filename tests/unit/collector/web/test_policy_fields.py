"""The settings of a policy, as people read and type them."""

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.policy_scopes import LIMITS, WHOLE
from fadewatch_collector.web.policy_fields import (
    POLICY_FIELDS,
    PolicyField,
    changes_in,
    scope_words,
    setting_words,
)
from fadewatch_common.policy import DEFAULT_POLICY, Policy


def test_every_setting_of_a_policy_has_a_field() -> None:
    assert {field.name for field in POLICY_FIELDS} == {f.name for f in fields(Policy)}


@pytest.mark.parametrize("field", POLICY_FIELDS, ids=lambda field: field.name)
def test_what_is_shown_reads_back_as_it_was(field: PolicyField) -> None:
    default = getattr(DEFAULT_POLICY, field.name)

    assert field.read(field.shown(default)) == default


@given(st.sampled_from(POLICY_FIELDS), st.data())
def test_every_value_within_its_limits_survives_being_shown(
    field: PolicyField, data: st.DataObject
) -> None:
    low, high = LIMITS[field.name]
    if field.name in WHOLE:
        value: float = data.draw(st.integers(int(low), int(high)))
    else:
        value = round(data.draw(st.floats(low, high)), 3)

    assert field.read(field.shown(value)) == pytest.approx(value, abs=1e-6)


@given(st.text(max_size=12))
def test_whatever_is_typed_is_a_value_in_its_limits_or_refused(typed: str) -> None:
    for field in POLICY_FIELDS:
        try:
            value = field.read(typed)
        except InvalidRequest:
            continue
        low, high = LIMITS[field.name]
        assert low <= value <= high


def test_a_refusal_names_its_setting() -> None:
    with pytest.raises(InvalidRequest, match="Plan threshold: soon is no number"):
        POLICY_FIELDS[0].read("soon")


def test_an_empty_field_changes_nothing() -> None:
    assert changes_in({"plan_wear": " ", "silent_days": "20"}) == {"silent_days": 20}


def test_scopes_and_values_are_said_in_words() -> None:
    assert scope_words("model:Tarnbrook|Slate") == "laptop model Tarnbrook Slate"
    assert setting_words("plan_wear", 0.3) == "30 %"
    assert setting_words("gone_since_then", "x") == "x"
