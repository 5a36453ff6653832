"""Wear, the one number that everything else is built on."""

from fadewatch_common.errors import FadewatchError

PLAUSIBLE_FULL_TO_DESIGN = 1.3
"""Full-charge over design capacity above which a reading is nonsense [ratio].

New packs commonly read 1.00 to 1.10 (from memory); 1.3 leaves room. Own choice.
"""


class InvalidCapacity(FadewatchError, ValueError):
    """A capacity from which no wear follows."""

    def __init__(self, full_charge: float, design: float) -> None:
        super().__init__(
            f"no wear follows from full-charge {full_charge} and design {design}: "
            "design must be above 0 and full-charge not below 0"
        )


def wear(full_charge_capacity: float, design_capacity: float) -> float:
    """Return 1 - full-charge capacity / design capacity [fraction].

    Both in the same unit, whichever it is. Negative for a pack that holds more than
    its design capacity, as new ones often do.

    Raises
    ------
    InvalidCapacity
        Design capacity is not above 0, or full-charge capacity is below 0.

    Notes
    -----
    Both quantities as in the Smart Battery Data Specification 1.1 (1998),
    FullChargeCapacity 0x10 and DesignCapacity 0x18.
    """
    if not design_capacity > 0 or not full_charge_capacity >= 0:
        raise InvalidCapacity(full_charge_capacity, design_capacity)
    return 1 - full_charge_capacity / design_capacity


def is_plausible(
    full_charge_capacity: float | None, design_capacity: float | None
) -> bool:
    """Say whether wear may be computed from the two capacities of one reading."""
    if full_charge_capacity is None or design_capacity is None:
        return False
    return 0 < full_charge_capacity <= PLAUSIBLE_FULL_TO_DESIGN * design_capacity
