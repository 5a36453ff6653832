"""A report stays light beside a script of bare imports."""

import pytest

from tests.benchmarks.agent_weight import (
    LARGEST_MIB,
    LONGEST_RATIO,
    REFERENCE,
    REPORT,
    REPORT_TLS,
    Weight,
    table,
    weigh,
)


@pytest.fixture(scope="module")
def weights() -> dict[str, Weight]:
    return weigh(rounds=9)


def test_a_report_takes_at_most_one_and_a_half_times_the_imports(
    weights: dict[str, Weight],
) -> None:
    # The least of several runs: what the program needs, not what a busy machine adds.
    least = weights[REPORT].least_processor

    assert least <= LONGEST_RATIO * weights[REFERENCE].least_processor, table(weights)


@pytest.mark.parametrize("name", [REPORT, REPORT_TLS, "read"])
def test_a_run_stays_under_30_mib(weights: dict[str, Weight], name: str) -> None:
    assert weights[name].memory_mib < LARGEST_MIB, table(weights)
