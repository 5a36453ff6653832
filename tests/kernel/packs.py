"""What a test says about packs and the bays that hold them."""

from dataclasses import dataclass
from typing import Literal

from tests.kernel.bay import INFORMATION_CHANGED

Unit = Literal["mWh", "mAh"]
State = Literal["idle", "discharging", "charging", "critical"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """One pack as its firmware describes it.

    Capacities are in `unit`, the rate in mW or mA to match, voltages in mV; ``None``
    is the firmware's word for unknown. The contents are invented.
    """

    unit: Unit = "mWh"
    design: int | None = 57_000
    full: int | None = 54_340
    remaining: int | None = 41_200
    cycles: int | None = 61
    rate: int | None = 9_120
    voltage: int | None = 11_873
    design_voltage: int | None = 11_400
    state: State = "discharging"
    maker: str = "Quellmar"
    model: str = "QM57-3S"
    serial: str = "00417"
    chemistry: str = "LiP"

    @property
    def wear(self) -> float:
        """Wear by its definition, from the two capacities of the description."""
        if self.design is None or self.full is None:
            msg = "a pack with an unknown capacity has no wear"
            raise ValueError(msg)
        return 1 - self.full / self.design


@dataclass(frozen=True, slots=True)
class Bay:
    """A bay: the packs that it may hold, and which of them is fitted.

    Parameters
    ----------
    packs
        The first is number 1. A pack whose values change is described twice, before
        and after.
    fitted
        The number of the pack that is in the bay at the start, 0 for none.
    extended
        Whether the firmware has ``_BIX`` beside ``_BIF``; without it, it knows no
        cycle count.
    notify
        The code with which the firmware announces a change; 0 for none.
    """

    packs: tuple[Pack, ...]
    fitted: int = 1
    extended: bool = True
    notify: int = INFORMATION_CHANGED


def bays_holding(*packs: Pack) -> tuple[Bay, ...]:
    """Return one bay for each pack, each with its pack fitted."""
    return tuple(Bay((pack,)) for pack in packs)
