"""Follow the page for administrators on this machine, step by step, and check each.

What ``prove.sh`` runs once Fadewatch is installed.
"""

import argparse
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from proving import checks
from proving.load import Load
from proving.stage import Stage, StepError

LEFT_ALONE_S = 3.0
"""Pause between two renewals [s]: more than the fail_timeout of upstream.conf."""


def main() -> int:
    """Do every step; returns 0, or 1 after naming the one that failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=8, help="load between steps")
    options = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="fw-prove-"))
    # PostgreSQL runs as another user when this one is root.
    folder.chmod(0o711)
    started = time.monotonic()
    stage = Stage(folder)
    try:
        for number, (what, step) in enumerate(steps(stage, options.seconds), 1):
            at = time.monotonic()
            said = step()
            took = time.monotonic() - at
            print(f"{number:>2} {what}: {said or 'ok'} ({took:.1f} s)", flush=True)
    except (StepError, OSError) as problem:
        print(f"FAILED: {problem}\nLogs are in {folder}", file=sys.stderr)
        return 1
    finally:
        stage.stop_all()
    shutil.rmtree(folder)
    print(f"All of it held, in {time.monotonic() - started:.0f} s.")
    return 0


Step = tuple[str, Callable[[], str | None]]


def steps(stage: Stage, seconds: float) -> list[Step]:
    """Return the steps in their order."""
    load = Load(stage)

    def kill_one() -> str:
        load.run_for(seconds)
        stage.kill(0)
        load.run_for(seconds)
        stage.start_collector(0)
        return load.said()

    def renew_both() -> str:
        stage.collector("database", "upgrade")
        for number in (0, 1):
            stage.stop_collector(number)
            stage.start_collector(number)
            # As long as nginx leaves one alone that did not answer, and a little more.
            load.run_for(max(seconds, LEFT_ALONE_S))
        return load.said()

    return [
        ("PostgreSQL", stage.start_postgres),
        ("a certificate and its authority", stage.make_certificates),
        (
            "the store is brought up to date",
            lambda: stage.collector("database", "upgrade"),
        ),
        (
            "two collectors",
            lambda: stage.start_collector(0) or stage.start_collector(1),
        ),
        ("nginx with TLS", stage.start_nginx),
        ("plain HTTP leads to TLS, headers and limits", lambda: checks.headers(stage)),
        ("this machine's own agent reports through TLS", lambda: checks.agent(stage)),
        ("laptops enrol through the proxy", load.enrol),
        ("one collector is killed while they report", load.during(kill_one)),
        ("both are renewed in turn while they report", load.during(renew_both)),
        ("what was answered is stored, once", load.check_stored),
        ("news of alerts come through the proxy", lambda: checks.news(stage, load)),
        ("a request's number leads to its log line", lambda: checks.request_id(stage)),
        ("metrics of both", lambda: checks.metrics(stage)),
        ("backup, restore into an empty database, equal", lambda: checks.backup(stage)),
        ("the same on SQLite, with TLS by the collector", lambda: checks.sqlite(stage)),
    ]


if __name__ == "__main__":
    raise SystemExit(main())
