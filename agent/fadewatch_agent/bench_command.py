"""The command ``bench``."""

import json
import sys
import time
from collections.abc import Callable, Mapping

from fadewatch_agent.arguments import UsageError
from fadewatch_agent.bench import Asked, bench
from fadewatch_agent.bench_out import bench_json, bench_text, exit_code
from fadewatch_agent.configuration import Settings
from fadewatch_agent.readers.machine import Machine
from fadewatch_agent.reading import Moment

MOST_SERVICE_YEARS = 10
"""Longest service that can be asked for [year], as in a collector's policy."""

Values = Mapping[str, str]


def run_bench(
    values: Values,
    machine: Machine,
    moment: Moment,
    settings: Callable[[Values], Settings],
) -> int:
    """Check a laptop, print the verdict, and return its exit code."""
    # A saved tree is another laptop's: nothing kept on this one goes with it.
    alone = "root" in values and "state" not in values
    asked = Asked(
        settings=None if alone else settings(values),
        service_years=_service_years(values),
        is_new_pack="new-pack" in values,
        is_offline="offline" in values,
    )
    done = bench(machine, moment, asked, time.sleep)
    if "json" in values:
        sys.stdout.write(json.dumps(bench_json(done), indent=2) + "\n")
    else:
        sys.stdout.write(bench_text(done))
    return exit_code(done)


def _service_years(values: Values) -> float | None:
    text = values.get("service-years")
    if text is None:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError as error:
        raise UsageError(f"--service-years needs a number, not {text!r}") from error
    if not 0 <= number <= MOST_SERVICE_YEARS:
        raise UsageError(f"--service-years goes from 0 to {MOST_SERVICE_YEARS}")
    return number
