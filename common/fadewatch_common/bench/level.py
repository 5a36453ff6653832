"""How worn the pack is today, and whether its gauge can be believed."""

from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from fadewatch_common.bench.facts import LaptopFacts, PackFacts
from fadewatch_common.bench.remark import Remark, Severity, rounded
from fadewatch_common.bench.words import capacity, day, percent
from fadewatch_common.fade import DAYS_PER_MONTH
from fadewatch_common.policy import Policy
from fadewatch_common.report import Pack
from fadewatch_common.wear import PLAUSIBLE_FULL_TO_DESIGN, wear

LEAST_FULL_TO_DESIGN = 0.02
"""Full-charge over design capacity below which a reading is nonsense [ratio].

Own choice, the analysis' own limit.
"""

FROZEN_CYCLES = 30
"""Cycles after which a gauge that still says the design capacity never learnt [count].

Own choice, as in the analysis.
"""

DOUBTFUL_FALL = 0.075
"""Loss since the last level beyond what fade explains that asks for a look [fraction].

Own choice: the least sudden drop that the analysis reports.
"""

MANY_CYCLES = 300
LEAST_LOSS_PER_CYCLE = 0.20 / 1000 / 2
"""Half of what a pack rated for 1000 cycles to 80 % loses [fraction a cycle].

The rating is from memory. Less wear than this after 300 cycles is hard to believe.
"""

FEW_CYCLES = 50
MUCH_WEAR = 0.15
"""Wear that few cycles do not explain [fraction]; own choice."""

WIDE_MARGIN_PERCENT = 10
"""The gauge's own error margin from which it is doubtful [percent].

Own choice: gauges state 1 to 5 % once they have learnt, 100 % after a reset.
"""

_HELD = "The gauge has shown one value for long, as on mains; true wear may be higher"
_DOUBTS: dict[str, tuple[Severity, str]] = {
    "noisy": ("remark", "Its readings jump about more than a pack can"),
    "implausible": ("remark", "Many of its newest readings cannot be true"),
    "stale": ("note", _HELD),
}


class Level(NamedTuple):
    """Wear with where it comes from; a wear of None says why."""

    wear: float | None
    words: str


def level_of(pack: PackFacts) -> Level:
    """Return a pack's wear: cleaned by its history, else by today's reading."""
    history = pack.history
    if history is not None and history.gauge == "frozen":
        return Level(None, "its gauge has never learnt and shows the design capacity")
    if history is not None and history.wear is not None:
        number = history.readings
        counted = "1 reading" if number == 1 else f"{number} readings"
        words = f"from {counted} up to {day(history.as_of)}"
        return Level(history.wear, words)
    return level_read(pack.read)


def level_read(pack: Pack) -> Level:
    """Return the wear of one reading."""
    full, design = pack.full_charge_capacity, pack.design_capacity
    if not design or full is None:
        return Level(None, _missing(pack))
    ratio = full / design
    if not LEAST_FULL_TO_DESIGN <= ratio <= PLAUSIBLE_FULL_TO_DESIGN:
        said = f"a full charge of {capacity(full, pack.unit)}"
        return Level(
            None, f"{said} for a design of {capacity(design, pack.unit)} cannot be"
        )
    if full == design and (pack.cycle_count or 0) >= FROZEN_CYCLES:
        return Level(
            None,
            f"its gauge shows exactly the design capacity after {pack.cycle_count} "
            "cycles, so it has not learnt",
        )
    return Level(wear(full, design), "by one reading")


def counts_as_new(pack: PackFacts, policy: Policy, *, is_new_pack: bool) -> bool:
    """Say whether a pack is as good as one can be fitted."""
    level, cycles = level_of(pack).wear, pack.read.cycle_count
    if level is None or level > policy.new_pack_wear:
        return False
    return is_new_pack if cycles is None else cycles <= policy.new_pack_cycles


def fell_by(pack: PackFacts, today: date) -> float | None:
    """Return what today's reading lost that fade does not explain [fraction].

    None when there is nothing to compare, or fade explains it.
    """
    now, before = _read_wear(pack.read), _level_before(pack)
    if now is None or before is None:
        return None
    level, on = before
    months = max((today - on).days, 0) / DAYS_PER_MONTH
    fade = max(pack.fade.fast_per_month, _own_fade(pack))
    fall = now - level
    return fall if fall >= DOUBTFUL_FALL + fade * months else None


def judge_gauge(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    """Yield what makes the gauge, or its last value, doubtful."""
    fall = fell_by(pack, facts.reading.read_on)
    if fall is not None:
        yield Remark(
            kind="gauge",
            severity="stops",
            sentence=f"The reading lies {percent(fall)} of design below the level "
            "before, more than fade explains: look for signs, charge it full, let it "
            "rest for some hours and read it again.",
            figures={"lost_percent": rounded(fall)},
            look_first=True,
        )
    yield from _by_history(pack)
    yield from _by_count(pack)
    margin = pack.read.error_margin_percent
    if margin is not None and margin >= WIDE_MARGIN_PERCENT:
        yield Remark(
            kind="gauge",
            severity="remark",
            sentence=f"The gauge itself allows for an error of {margin} %: run the "
            "pack down and charge it full, so that it learns.",
            figures={"error_margin_percent": margin},
        )


def _by_history(pack: PackFacts) -> Iterator[Remark]:
    if pack.history is None or pack.history.gauge not in _DOUBTS:
        return
    severity, sentence = _DOUBTS[pack.history.gauge]
    yield Remark(
        kind="gauge",
        severity=severity,
        sentence=f"{sentence} ({pack.history.readings} readings).",
        figures={"readings": pack.history.readings},
    )


def _by_count(pack: PackFacts) -> Iterator[Remark]:
    level, cycles = level_of(pack).wear, pack.read.cycle_count
    if level is None or cycles is None:
        return
    figures = {"cycle_count": cycles, "wear_percent": rounded(level)}
    if cycles >= MANY_CYCLES and level < LEAST_LOSS_PER_CYCLE * cycles:
        yield Remark(
            kind="gauge",
            severity="remark",
            sentence=f"Wear of {percent(level)} is little for {cycles} cycles, where "
            f"{percent(LEAST_LOSS_PER_CYCLE * cycles)} is the least to expect: the "
            "gauge may not have learnt. Test the running time.",
            figures=figures,
        )
    if cycles < FEW_CYCLES and level >= MUCH_WEAR:
        yield Remark(
            kind="gauge",
            severity="remark",
            sentence=f"Wear of {percent(level)} is much for {cycles} cycles: it aged "
            "by heat or full on mains, or the gauge is wrong.",
            figures=figures,
        )


def _missing(pack: Pack) -> str:
    if pack.unit == "relative" and not pack.design_capacity:
        return "the firmware gives only a percentage"
    which = "design" if not pack.design_capacity else "full-charge"
    return f"the firmware does not tell its {which} capacity"


def _read_wear(pack: Pack) -> float | None:
    full, design = pack.full_charge_capacity, pack.design_capacity
    if full is None or not design or full > PLAUSIBLE_FULL_TO_DESIGN * design:
        return None
    return wear(full, design)


def _level_before(pack: PackFacts) -> tuple[float, date] | None:
    history = pack.history
    if history is not None:
        return None if history.wear is None else (history.wear, history.as_of)
    before = None if pack.last is None else _read_wear(pack.last.pack)
    if pack.last is None or before is None:
        return None
    return before, pack.last.seen_on


def _own_fade(pack: PackFacts) -> float:
    return (pack.history and pack.history.fade_per_month) or 0.0
