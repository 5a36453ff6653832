"""In which order files are run, and what the names of tests may not hold."""

import re
from collections.abc import Iterable, Sequence

SLOWEST = (
    "tests/kernel/test_package.py",
    "tests/integration/test_golden_image.py",
    "tests/browser/test_access.py",
    "tests/integration/test_background_process.py",
    "tests/kernel/test_delivery.py",
    "tests/integration/test_two_collectors.py",
    "tests/integration/test_try_out.py",
    "tests/integration/test_faults_power.py",
    "tests/integration/test_kill.py",
    "tests/integration/test_hostile_collector.py",
    "tests/integration/test_alert_life.py",
    "tests/integration/test_fleet_replay.py",
    "tests/integration/test_faults_clocks.py",
    "tests/integration/test_windows_wine.py",
    "tests/browser/test_pages.py",
    "tests/kernel/test_reading.py",
    "tests/integration/test_interrupted_upgrade.py",
    "tests/integration/test_database_command.py",
    "tests/integration/test_openapi_service.py",
    "tests/integration/test_faults_postgres.py",
    "tests/integration/test_outbox_kill.py",
    "tests/integration/test_kill_rounds.py",
    "tests/integration/test_migrations.py",
    "tests/kernel/test_recordings.py",
    "tests/integration/test_access.py",
)
"""Files that take longest, longest first: half a minute to two minutes each.

They begin first, so that at the end no worker is busy for long while others are done.
"""

HOUR = 3600


def turn(test_id: str) -> int:
    """Return when a test's file has its turn; equal numbers keep their order."""
    file = test_id.partition("::")[0]
    return SLOWEST.index(file) if file in SLOWEST else len(SLOWEST)


def told_the_time(test_ids: Iterable[str], now: float) -> Sequence[str]:
    """Return the ids that hold the present time in seconds.

    Workers collect in different seconds, and would find different tests.
    """
    return [
        one
        for one in test_ids
        if any(abs(int(found) - now) < HOUR for found in re.findall(r"\d{10}", one))
    ]
