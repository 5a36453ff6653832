"""Measure the analysis on one core: packs a second, beside per-series library calls.

Run from the repository's root: ``python -m tests.benchmarks.analysis_speed [packs]``
(100,000 packs with 365 daily values by default). The libraries get a sample of the same
packs in the same run, since they would take hours for all. Beside the wall clock stands
the time the processor spent: on a busy machine only that can be compared.
"""

import os
import resource
import sys
import time
from collections.abc import Callable

import numpy as np
import ruptures
from scipy.stats import theilslopes

from fadewatch_collector.analysis.arrays import SingleArray
from fadewatch_collector.analysis.assess import assess
from fadewatch_collector.analysis.series import Histories

THREADS = "OPENBLAS_NUM_THREADS"
DAYS = 365
FIRST_DAY = 20_000
SAMPLE = {"scipy.stats.theilslopes": 400, "ruptures.Pelt(l2)": 12}


def main() -> None:
    """Print the table."""
    on_one_core()
    packs = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    known = fleet(packs)
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    warm_up = known.some(0, min(packs, 50))
    assess(warm_up, FIRST_DAY + DAYS)
    spent = timed(lambda: assess(known, FIRST_DAY + DAYS))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{packs} packs x {DAYS} days, one core; load {os.getloadavg()[0]:.1f}")
    row("whole assessment", packs, packs, spent)
    for name, run in LIBRARIES.items():
        sample = min(SAMPLE[name], packs)
        row(f"{name} *", packs, sample, one_by_one(known, sample, run))
    print("* from a sample of the same packs")
    print(f"peak memory {peak:.0f} MiB, of it {held:.0f} MiB before the assessment")


def on_one_core() -> None:
    """Start again with one thread and one core.

    A linear algebra library that was loaded with more threads than cores spins: the
    same work then takes three times as long.
    """
    if os.environ.get(THREADS) != "1":
        again = [sys.executable, "-m", "tests.benchmarks.analysis_speed", *sys.argv[1:]]
        os.execve(again[0], again, {**os.environ, THREADS: "1"})  # noqa: S606  # itself
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})


def row(name: str, packs: int, done: int, spent: tuple[float, float]) -> None:
    """Print one line, scaled from the packs done to all."""
    wall, processor = spent
    print(
        f"{name:28}{done / processor:8.0f} packs/s of processor time, "
        f"{processor * packs / done:8.1f} s for all; "
        f"wall clock {wall * packs / done:8.1f} s"
    )


def fleet(packs: int) -> Histories:
    """Make packs that fade, a third with a knee, one in twenty with a drop."""
    rng = np.random.default_rng(365)
    full = np.empty((packs, DAYS), dtype=np.float32)
    for start in range(0, packs, 5000):
        full[start : start + 5000] = _health(rng, min(5000, packs - start))
    full *= 50_000
    return Histories(
        tuple(f"pack-{i}" for i in range(packs)),
        np.arange(packs + 1, dtype=np.int64) * DAYS,
        np.tile(np.arange(FIRST_DAY, FIRST_DAY + DAYS, dtype=np.int32), packs),
        full.ravel(),
        np.full(packs * DAYS, 50_000, dtype=np.float32),
        np.tile(np.arange(DAYS, dtype=np.float32) / 2, packs),
    )


def _health(rng: np.random.Generator, packs: int) -> SingleArray:
    day = np.arange(DAYS)
    start = rng.uniform(0.7, 1.02, (packs, 1))
    rate = rng.lognormal(np.log(0.008), 0.5, (packs, 1)) / 30.4375
    knee = np.where(
        rng.random((packs, 1)) < 1 / 3, rng.uniform(0, DAYS, (packs, 1)), 9e9
    )
    faster = np.maximum(day - knee, 0) * rng.uniform(2, 5, (packs, 1))
    drop = np.where(
        rng.random((packs, 1)) < 0.05, rng.uniform(0, DAYS, (packs, 1)), 9e9
    )
    size = rng.uniform(0.08, 0.3, (packs, 1))
    health = start - rate * (day + faster) - size * (day >= drop)
    health += rng.normal(0, 0.01, health.shape)
    return np.clip(health, 0.05, 1.2).astype(np.float32)


def slope(health: SingleArray) -> None:
    """Fit one series with the slope library."""
    theilslopes(health, np.arange(DAYS))


def change_points(health: SingleArray) -> None:
    """Search one series with the change-point library."""
    ruptures.Pelt(model="l2").fit(health).predict(pen=0.01)


LIBRARIES: dict[str, Callable[[SingleArray], None]] = {
    "scipy.stats.theilslopes": slope,
    "ruptures.Pelt(l2)": change_points,
}


def one_by_one(
    known: Histories, sample: int, run: Callable[[SingleArray], None]
) -> tuple[float, float]:
    """Return the time for some series, one call each."""
    rows = (known.full[: sample * DAYS] / known.design[: sample * DAYS]).reshape(
        -1, DAYS
    )

    def all_rows() -> None:
        for health in rows:
            run(health)

    return timed(all_rows)


def timed(run: Callable[[], object]) -> tuple[float, float]:
    """Return how long something takes by the wall clock and the processor's [s]."""
    wall, processor = time.perf_counter(), time.process_time()
    run()
    return time.perf_counter() - wall, time.process_time() - processor


if __name__ == "__main__":
    main()
