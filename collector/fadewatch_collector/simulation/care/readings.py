"""What one pack of a fleet in care tells at one moment."""

from dataclasses import replace

import numpy as np

from fadewatch_collector.simulation.care.plan import Fit, PackPlan, Quirk
from fadewatch_common.report import Pack, PackState

ARRIVAL_CHARGE = 0.28  # air-transport packing instruction 965: at most 30 %
EMPTY_VOLTAGE, VOLTAGE_SPAN = 0.92, 0.16  # of design voltage, from empty to full
COUNTER = 256  # cycles after which an 8-bit count starts again
NONSENSE_A_DAY = 0.5 / 365  # readings whose full-charge capacity means nothing; ours
_STATES: tuple[PackState, ...] = ("full", "charging", "discharging", "held")


def read_pack(
    rng: np.random.Generator,
    plan: PackPlan,
    slot: str,
    figures: tuple[float, float],
    fitted: tuple[Fit, int],
) -> Pack:
    """Give the reading of a pack.

    Parameters
    ----------
    figures
        Shown full-charge capacity [fraction of design], and cycles [count].
    fitted
        Why the pack is there, and readings since it was fitted.
    """
    kind = plan.type
    shown, cycles = figures
    full = round(max(shown, 0.02) * kind.design / kind.quantum) * kind.quantum
    if rng.random() < NONSENSE_A_DAY:
        full = (0, full // 10, 65535, round(kind.design * rng.uniform(0.6, 1.05)))[
            int(rng.integers(4))
        ]
    charge, state = _moment(rng, plan, fitted)
    count = int(cycles) % COUNTER if plan.wraps else int(cycles)
    return Pack(
        slot=slot,
        maker=kind.maker,
        model=kind.model,
        serial=plan.serial,
        made_on=plan.made_on,
        chemistry="Li-ion",
        unit=kind.unit,
        state=state,
        design_capacity=kind.design,
        full_charge_capacity=full,
        remaining_capacity=round(charge * full),
        # Unknown is absent, and the agent takes a count of 0 for unknown.
        cycle_count=(count or None) if plan.counts else None,
        voltage_mv=round(kind.voltage * (EMPTY_VOLTAGE + VOLTAGE_SPAN * charge)),
        design_voltage_mv=kind.voltage,
        temperature_c=round(float(rng.uniform(22, 36)), 1),
    )


def _moment(
    rng: np.random.Generator, plan: PackPlan, fitted: tuple[Fit, int]
) -> tuple[float, PackState]:
    fit, since = fitted
    if not plan.charges:
        return 0.0, "unknown"
    if since == 0 and fit in {Fit.NEW, Fit.SECOND_TYPE}:
        return ARRIVAL_CHARGE, "discharging"
    return float(rng.uniform(0.15, 1.0)), _STATES[int(rng.integers(len(_STATES)))]


def spoil(rng: np.random.Generator, pack: Pack, quirks: frozenset[Quirk]) -> Pack:
    """Apply to a reading what the laptop's quirks make of it."""
    if Quirk.NO_SERIAL in quirks:
        pack = replace(pack, serial=None, made_on=None)
    if Quirk.NO_CYCLES in quirks:
        pack = replace(pack, cycle_count=None)
    flickers = Quirk.FLICKERING_UNIT in quirks and rng.random() < 0.5  # noqa: PLR2004
    if Quirk.PERCENT_ONLY in quirks:
        return _percent_only(pack)
    if Quirk.OTHER_UNIT in quirks or flickers:
        return _in_other_unit(pack)
    return pack


def _percent_only(pack: Pack) -> Pack:
    full, left = pack.full_charge_capacity or 0, pack.remaining_capacity or 0
    return replace(
        pack,
        unit="relative",
        design_capacity=None,
        full_charge_capacity=100,
        remaining_capacity=min(round(100 * left / full), 100) if full else 0,
        cycle_count=None,
    )


def _in_other_unit(pack: Pack) -> Pack:
    volts = (pack.design_voltage_mv or 1000) / 1000
    to_mah = pack.unit == "mWh"
    factor = 1 / volts if to_mah else volts
    return replace(
        pack,
        unit="mAh" if to_mah else "mWh",
        design_capacity=round((pack.design_capacity or 0) * factor),
        full_charge_capacity=round((pack.full_charge_capacity or 0) * factor),
        remaining_capacity=round((pack.remaining_capacity or 0) * factor),
    )
