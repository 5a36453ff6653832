"""What a visit sheet is made from: a laptop with its packs, parts and alerts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.alert_terms import AlertKind, Urgency
from fadewatch_collector.rules.assessment import Concern
from fadewatch_common.report import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedPack:
    """A pack that sits in the laptop, with its newest assessment.

    Attributes
    ----------
    wear
        Fraction of design capacity; None unknown.
    plan_on, replace_on
        Central day of the forecast crossing; None is not within ten years, unknown,
        or behind it already.
    """

    pack_id: int
    slot: str
    maker: str | None
    model: str | None
    serial: str | None
    chemistry: str | None
    unit: Unit
    design_capacity: int | None
    design_voltage_mv: int | None
    full_charge_capacity: int | None
    cycle_count: int | None
    wear: float | None
    band: Band
    concern: Concern
    plan_earliest: date | None
    plan_on: date | None
    plan_latest: date | None
    replace_on: date | None
    reasons: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenAlert:
    """An alert that has not ended."""

    id: int
    kind: AlertKind
    urgency: Urgency
    pack_id: int | None
    reasons: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitedLaptop:
    """A laptop as a visit finds it; memory and drives as reported, None unknown."""

    id: int
    hostname: str | None
    maker: str | None
    model: str | None
    serial: str | None
    site: str | None
    asset_tag: str | None
    holder: str | None
    last_report_at: datetime | None
    memory: Mapping[str, Any] | None
    drives: Sequence[Mapping[str, Any]] | None
    packs: Sequence[FittedPack]
    alerts: Sequence[OpenAlert]

    @property
    def name(self) -> str:
        """Return what people call it."""
        return self.hostname or f"Laptop {self.id}"
