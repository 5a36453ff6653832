"""How an agent's version stands to the collector's."""

import pytest

from fadewatch_collector.rules.agent_versions import Standing, newest_first, standing


@pytest.mark.parametrize(
    ("version", "expected"),
    [
        ("1.2.3", "same"),
        ("1.2.3-rc1", "same"),
        ("1.2.2", "older"),
        ("1.2", "older"),
        ("0.99.99", "older"),
        ("1.10.0", "newer"),
        ("2", "newer"),
        ("=cmd()", "unknown"),
        ("", "unknown"),
        (None, "unknown"),
        ("9999999.1", "unknown"),
    ],
)
def test_versions_are_compared_number_by_number(
    version: str | None, expected: Standing
) -> None:
    assert standing(version, "1.2.3") == expected


def test_the_newest_stands_first_and_the_unknown_last() -> None:
    versions = ["0.9.0", None, "0.10.0", "odd", "1.0.0"]

    assert sorted(versions, key=newest_first)[:3] == ["1.0.0", "0.10.0", "0.9.0"]
