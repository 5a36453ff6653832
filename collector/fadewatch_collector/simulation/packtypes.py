"""Invented pack types; no maker, model or capacity here belongs to a real product."""

from dataclasses import dataclass

from fadewatch_collector.simulation.fleet import CapacityUnit

# Step limits of gauges that bound one update; sizes as seen on real gauges, from memory.
STEP_DOWN_MAH = 256.0
STEP_UP_MAH = 512.0


@dataclass(frozen=True, slots=True)
class PackType:
    """One pack type as an organisation buys it.

    Attributes
    ----------
    design
        Design capacity [unit].
    voltage
        Design voltage [mV].
    pace
        Typical loss in the first year [fraction of design]; ours, spread around
        the few percent to a fifth a year that a mixed fleet shows.
    knee
        Tendency to bend, as a multiple of the mix's share.
    """

    maker: str
    model: str
    unit: CapacityUnit
    design: int
    voltage: int
    pace: float
    knee: float

    @property
    def name(self) -> str:
        """Maker and model."""
        return f"{self.maker} {self.model}"

    @property
    def quantum(self) -> int:
        """Smallest step of a reported capacity [unit]."""
        # Smart Battery Data Specification 1.1: mAh, or tens of mWh.
        return 1 if self.unit == "mAh" else 10

    def step(self, mah: float) -> float:
        """Turn a gauge's step limit [mAh] into a fraction of design."""
        size = mah if self.unit == "mAh" else mah * self.voltage / 1000
        return size / self.design


PACK_TYPES: tuple[PackType, ...] = (
    PackType("Kelstrand", "KS-F57", "mWh", 57_020, 11_520, 0.070, 1.0),
    PackType("Kelstrand", "KS-F42", "mWh", 42_000, 11_400, 0.085, 1.1),
    PackType("Kelstrand", "KS-H86", "mWh", 86_000, 11_580, 0.060, 0.8),
    PackType("Brindlewick", "BW 3-48", "mWh", 48_280, 11_340, 0.095, 1.3),
    PackType("Brindlewick", "BW 3-61", "mWh", 60_990, 11_550, 0.065, 0.9),
    PackType("Brindlewick", "BW 2-38", "mWh", 38_020, 7_700, 0.110, 1.2),
    PackType("Ostervane", "Reed 440", "mAh", 4_400, 11_400, 0.090, 1.0),
    PackType("Ostervane", "Reed 505", "mAh", 5_050, 11_550, 0.070, 0.9),
    PackType("Ostervane", "Reed 710", "mAh", 7_100, 7_600, 0.080, 1.0),
    PackType("Dunmarrow", "DM-24", "mWh", 24_050, 11_460, 0.075, 0.8),
    PackType("Dunmarrow", "DM-72", "mWh", 72_000, 15_440, 0.055, 0.9),
    PackType("Dunmarrow", "DM-365", "mAh", 3_650, 15_200, 0.120, 1.4),
)
