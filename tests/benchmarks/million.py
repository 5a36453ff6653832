"""Everything at a million packs, one command: rounds, fleet CSV and pages, on both databases.

    python -m tests.benchmarks.million [--packs 1000000] [--engine sqlite|postgres]

One database after the other, in a temporary folder that is removed again; each store is
filled once. On an idle machine with two cores about 40 minutes on SQLite and an hour on
PostgreSQL, and up to 14 GB of disk at a time. Exits with 1 when a target is not reached.
"""

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.big_store import ENGINES, Engine

PACKS = 1_000_000
BENCHMARKS = (("night",), ("csv_export", "--rounds", "2"), ("pages",))
MINUTES = {"sqlite": 40, "postgres": 60}
"""About how long all of a million packs take, idle [min]."""
DISK_BYTES = 14 * 10**9
"""What the larger of the two stores takes while it is filled [byte]."""


def measure(engine: Engine, packs: int, folder: Path) -> bool:
    """Run the benchmarks on one database; returns whether all targets are reached."""
    is_reached = True
    for name, *more in BENCHMARKS:
        print(f"\n== {name}, {engine} ==", flush=True)
        started = time.perf_counter()
        command = [sys.executable, "-W", "ignore", "-m", f"tests.benchmarks.{name}"]
        found = subprocess.run(
            [*command, engine, "--packs", str(packs), "--folder", str(folder), *more],
            check=False,
        )
        is_reached &= found.returncode == 0
        print(f"took {(time.perf_counter() - started) / 60:.1f} min", flush=True)
    return is_reached


def main() -> int:
    """Measure one database after the other."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--packs", type=int, default=PACKS)
    parser.add_argument("--engine", choices=ENGINES)
    asked = parser.parse_args()
    engines = ENGINES if asked.engine is None else (asked.engine,)
    part = asked.packs / PACKS
    minutes = sum(MINUTES[engine] for engine in engines) * part
    print(f"{asked.packs:,} packs: about {minutes:.0f} minutes on an idle machine")
    # Short: the path of a socket has a limit. Readable: the server has an account.
    folder = Path(tempfile.mkdtemp(prefix="fw-m-"))
    folder.chmod(0o755)
    try:
        if shutil.disk_usage(folder).free < DISK_BYTES * part:
            print(f"this takes {DISK_BYTES * part / 1e9:.0f} GB in {folder.parent}")
            return 2
        reached = []
        for engine in engines:
            reached.append(measure(engine, asked.packs, folder))
            shutil.rmtree(folder / f"{engine}-{asked.packs}", ignore_errors=True)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return int(not all(reached))


if __name__ == "__main__":
    sys.exit(main())
