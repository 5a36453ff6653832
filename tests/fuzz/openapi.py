"""Send generated requests to every operation of the API, signed in and signed out.

    python -m tests.fuzz.openapi [--examples 50] [--minutes 20]

Each operation of the description is asked with and without a secret by schemathesis,
whose checks are those of `tests/integration/test_openapi_service.py`, the short form.
Prints the requests sent and the answers by status; ends at the first answer that is not
as described, or when the time is over.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import CheckFunction
from schemathesis.core.result import Ok
from schemathesis.schemas import APIOperation
from schemathesis.specs.openapi.checks import (
    negative_data_rejection,
    positive_data_acceptance,
)

from tests.integration.live_api import LiveApi, live_api
from tests.integration.test_openapi_service import (
    MORE_THAN_A_SCHEMA,
    Case,
    schema,
)

Operation = APIOperation[Any, Any, Any, Any]


def ask(case: Case, live: LiveApi, *, signed_in: bool) -> int:
    """Send one request and check the answer; returns its status."""
    excluded: list[CheckFunction] = [positive_data_acceptance]
    headers: dict[str, str] = {}
    if signed_in:
        is_agents = case.operation.path == "/reports"
        secret = live.agent_key if is_agents else live.api_token
        headers["Authorization"] = f"Bearer {secret}"
        if is_agents:
            # A bad report is answered 200, rejected alone.
            excluded.append(negative_data_rejection)
        elif case.operation.path not in MORE_THAN_A_SCHEMA and "cursor" not in (
            case.query or {}
        ):
            excluded.clear()
    answer = case.call_and_validate(
        base_url=live.address, headers=headers, excluded_checks=excluded
    )
    return int(answer.status_code)


def asking(
    operation: Operation,
    live: LiveApi,
    examples: int,
    told: Counter[str],
    *,
    signed_in: bool,
) -> Callable[[], None]:
    """Return what asks one operation many times and counts the answers."""

    @given(case=operation.as_strategy())
    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def run(case: Case) -> None:
        status = ask(case, live, signed_in=signed_in)
        told[f"{'in' if signed_in else 'out'} {status}"] += 1

    return run


def main() -> int:
    """Run and count."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz.openapi")
    parser.add_argument("--examples", type=int, default=50)
    parser.add_argument("--minutes", type=float, default=20)
    asked = parser.parse_args()
    until = time.monotonic() + asked.minutes * 60
    told: Counter[str] = Counter()
    operations = [
        found.ok() for found in schema.get_all_operations() if isinstance(found, Ok)
    ]
    reached = 0
    with tempfile.TemporaryDirectory() as folder, live_api(Path(folder)) as live:
        for operation in operations:
            if time.monotonic() > until:
                break
            for signed_in in (False, True):
                asking(operation, live, asked.examples, told, signed_in=signed_in)()
            reached += 1
    print(
        f"{sum(told.values()):,} requests to {reached} of {len(operations)} operations: "
        + ", ".join(f"{name}: {count:,}" for name, count in sorted(told.items()))
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
