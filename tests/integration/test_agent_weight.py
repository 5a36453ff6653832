"""A report stays light: small in memory, and few modules beyond the bare imports.

How long it takes is measured by the benchmark, not here: a busy machine takes longer.
"""

import pytest

from tests.benchmarks.agent_weight import (
    LARGEST_MIB,
    REFERENCE,
    REPORT,
    REPORT_TLS,
    Weight,
    modules,
    table,
    weigh,
)

# Own choice: a third of what the bare imports load; asyncio alone would bring 30 more.
MOST_MORE = 40


@pytest.fixture(scope="module")
def weights() -> dict[str, Weight]:
    return weigh(rounds=2)


@pytest.mark.parametrize("name", [REPORT, REPORT_TLS, "read"])
def test_a_run_stays_under_30_mib(weights: dict[str, Weight], name: str) -> None:
    assert weights[name].memory_mib < LARGEST_MIB, table(weights)


def test_a_report_loads_few_modules_beside_the_bare_imports_and_its_own() -> None:
    loaded = modules((REFERENCE, REPORT_TLS))

    more = set(loaded[REPORT_TLS]) - set(loaded[REFERENCE])
    theirs = {name for name in more if not name.startswith("fadewatch_")}
    assert len(theirs) <= MOST_MORE, theirs
