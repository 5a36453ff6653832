"""A fleet with one phenomenon at a time, written apart from the project's simulator.

Milder than it: noise without memory, gauges that show a drop when it comes, steady fade.
Its rates are set so that the plain rules in `drop_rules` score about what they scored on
the fleet for which the targets were stated (see `DEVELOPERS.md`).
"""

from dataclasses import dataclass

import numpy as np

from fadewatch_collector.analysis.arrays import FloatArray, Mask
from fadewatch_collector.analysis.series import Histories
from tests.benchmarks.drop_judge import Fall, Watched

FIRST_DAY, DAYS = 20_000, 365
MONTH = 30.4375
LEAST_IN_USE = 0.40
STEP_DOWN_MAH, STEP_UP_MAH = 256.0, 512.0


@dataclass(frozen=True, slots=True)
class Plain:
    """How often each phenomenon occurs: shares of packs, or events a pack and year.

    Attributes
    ----------
    noise
        Standard deviation of what a gauge measures [fraction of design].
    stepwise, stale
        Gauges that learn every 4 to 30 days, or every 4 to 10 months.
    limited
        Gauges that move by bounded steps, one a reading.
    """

    noise: float = 0.008
    stepwise: float = 0.20
    stale: float = 0.10
    limited: float = 0.15
    knees: float = 0.12
    drops: float = 0.10
    cliffs: float = 0.08
    dips: float = 0.14
    nonsense: float = 0.06
    rests: float = 0.3
    silences: float = 0.2
    missing: float = 0.1


def plain_fleet(packs: int, seed: int, rates: Plain | None = None) -> Watched:
    """Make a fleet over a year, with its real drops."""
    rng = np.random.default_rng(seed)
    made = [_pack(rng, rates or Plain()) for _ in range(packs)]
    rows = [np.flatnonzero(~np.isnan(full)) for full, _, _ in made]
    histories = Histories.from_rows(
        [f"pack-{number}" for number in range(packs)],
        pack=np.repeat(np.arange(packs), [row.size for row in rows]),
        day=FIRST_DAY + np.concatenate(rows),
        full=np.concatenate([one[0][row] for one, row in zip(made, rows, strict=True)]),
        design=np.concatenate(
            [np.full(row.size, one[1]) for one, row in zip(made, rows, strict=True)]
        ),
    )
    return Watched(histories, FIRST_DAY + np.arange(DAYS), [one[2] for one in made])


def _pack(
    rng: np.random.Generator, rates: Plain
) -> tuple[FloatArray, float, list[Fall]]:
    """Make one pack: full-charge capacity by day, design capacity, and its drops."""
    design = float(np.round(rng.uniform(3_000, 7_500), -1))
    health = _faded(rng, rates)
    fall = None
    if rng.random() < rates.drops:
        health, fall = _dropped(rng, health)
    health = health + _bump(rng, rates)
    shown, learns = _held(rng, rates, health, fall)
    if rng.random() < rates.limited:
        shown = _limited(shown, STEP_DOWN_MAH / design, STEP_UP_MAH / design)
    shown = _lowered(rng, shown, rates.cliffs, (0.06, 0.08), (1, 4))
    shown = _lowered(rng, shown, rates.dips, (0.03, 0.07), (14, 45))
    full = np.round(design * shown)
    for at in np.flatnonzero(rng.random(DAYS) < rates.nonsense / DAYS):
        full[at] = rng.choice([0.0, full[at] / 10, 65535.0, rng.uniform(3_000, 7_500)])
    full[_absent(rng, rates) | (health < LEAST_IN_USE)] = np.nan
    drops = [] if fall is None else [_seen(fall, learns, ~np.isnan(full))]
    return full, design, drops


def _faded(rng: np.random.Generator, rates: Plain) -> FloatArray:
    rate = np.full(DAYS, 0.008 * rng.lognormal(0.0, 0.5) / MONTH)
    start = rng.uniform(0.72, 1.03)
    if rng.random() < rates.knees:
        at = rng.integers(30, DAYS)
        rate[at:] *= min(rng.uniform(3.0, 8.0), 0.06 / MONTH / rate[0])
    health: FloatArray = start - np.cumsum(rate)
    return health


def _dropped(rng: np.random.Generator, health: FloatArray) -> tuple[FloatArray, Fall]:
    at, takes = int(rng.integers(20, DAYS - 15)), int(rng.integers(1, 7))
    size = rng.uniform(0.08, np.clip(health[at] - 0.2, 0.1, 0.4))
    part = np.clip((np.arange(DAYS) - at + 1) / takes, 0.0, 1.0)
    faster = rng.uniform(0.0, 2.0) * np.maximum(health[at] - health, 0.0)
    fallen = health - size * part - np.where(part > 0, faster, 0.0)
    return fallen, Fall(at, at, size)


def _bump(rng: np.random.Generator, rates: Plain) -> FloatArray:
    bump = np.zeros(DAYS)
    for at in np.flatnonzero(rng.random(DAYS) < rates.rests / DAYS):
        since = np.arange(DAYS) - at
        gain = rng.uniform(0.01, 0.045) * np.exp(-since / rng.uniform(5, 14))
        bump += np.where(since >= 0, gain, 0.0)
    return bump


def _held(
    rng: np.random.Generator, rates: Plain, health: FloatArray, fall: Fall | None
) -> tuple[FloatArray, Mask]:
    """Return what the gauge shows, and on which days it learns."""
    kind = rng.random()
    learns = np.ones(DAYS, dtype=np.bool_)
    if kind < rates.stale + rates.stepwise:
        between = rng.uniform(120, 300) if kind < rates.stale else rng.uniform(4, 30)
        learns = rng.random(DAYS) < 1 / between
        if fall is not None and kind >= rates.stale:
            learns[min(fall.began + int(rng.integers(3, 7)), DAYS - 1)] = True
        learns[0] = True
    measured = health + rng.normal(0.0, rates.noise, DAYS)
    last = np.maximum.accumulate(np.where(learns, np.arange(DAYS), 0))
    return measured[last], learns


def _limited(shown: FloatArray, down: float, up: float) -> FloatArray:
    moved = shown.copy()
    for at in range(1, DAYS):
        moved[at] = moved[at - 1] + np.clip(shown[at] - moved[at - 1], -down, up)
    return moved


def _lowered(
    rng: np.random.Generator,
    shown: FloatArray,
    a_year: float,
    size: tuple[float, float],
    days: tuple[int, int],
) -> FloatArray:
    lowered = shown.copy()
    for at in np.flatnonzero(rng.random(DAYS) < a_year / DAYS):
        lowered[at : at + rng.integers(days[0], days[1] + 1)] -= rng.uniform(*size)
    return lowered


def _absent(rng: np.random.Generator, rates: Plain) -> Mask:
    absent = rng.random(DAYS) < rates.missing
    for at in np.flatnonzero(rng.random(DAYS) < rates.silences / DAYS):
        absent[at : at + rng.integers(14, 60)] = True
    return absent


def _seen(fall: Fall, learns: Mask, heard: Mask) -> Fall:
    """Say when a reading first showed the fall, a day after it began at the soonest."""
    place = np.arange(DAYS)
    after = np.flatnonzero(learns & (place > fall.began))
    if after.size:
        after = np.flatnonzero(heard & (place >= after[0]))
    shown = int(after[0]) if after.size else None
    return Fall(
        FIRST_DAY + fall.began, None if shown is None else FIRST_DAY + shown, fall.size
    )
