"""The policy's defaults."""

from fadewatch_common.policy import DEFAULT_POLICY, Policy


def test_defaults_are_those_of_common_practice() -> None:
    assert (DEFAULT_POLICY.plan_wear, DEFAULT_POLICY.replace_wear) == (0.30, 0.40)
    assert DEFAULT_POLICY.silent_days == 14


def test_a_laptop_is_issued_with_eight_gibibytes_and_240_gigabytes_at_least() -> None:
    assert (DEFAULT_POLICY.least_memory_mib, DEFAULT_POLICY.least_storage_gb) == (
        8 * 1024,
        240,
    )


def test_a_setting_can_differ_and_the_rest_stays() -> None:
    assert Policy(plan_wear=0.25).replace_wear == DEFAULT_POLICY.replace_wear
