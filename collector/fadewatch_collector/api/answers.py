"""What the API answers, as it stands in its description.

Wear is in percent and fade in percent of design a month, as in an assessment. What is
not known is null.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Literal

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.alert_terms import AlertKind, AlertState, Urgency
from fadewatch_collector.rules.assessment import Concern, CrossingDates
from fadewatch_common.report import Unit

Plain = dict[str, Any]
"""A structure given on as the agent reported it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportResult:
    """What became of one report; ``problem`` only when it was rejected.

    Attributes
    ----------
    report_id
        Null when the report was rejected and its id could not be told.
    """

    report_id: str | None
    status: Literal["stored", "duplicate", "rejected"]
    problem: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportResults:
    """One result for each report, in the order sent.

    Attributes
    ----------
    renew_key
        Whether the agent should ask for a new key, at ``/key``; only when it should.
    """

    results: Sequence[ReportResult]
    renew_key: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class EnrolledLaptop:
    """The laptop's number, and the key with which it reports: shown this once."""

    laptop_id: int
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RenewedKey:
    """The laptop's new key: shown this once. Its first use ends the old one."""

    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AgentVersion:
    """Laptops that last reported with one version; ``lately`` is not yet silent."""

    version: str | None
    laptops: int
    lately: int
    standing: Literal["same", "older", "newer", "unknown"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentStart:
    """A laptop that has enrolled and never reported."""

    id: int
    hostname: str | None
    asset_tag: str | None
    maker: str | None
    model: str | None
    serial: str | None
    site: str | None
    enrolled_at: datetime
    token: str | None
    has_key: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AgentOverview:
    """The agents' versions, and a part of the laptops that never reported."""

    collector_version: str
    versions: Sequence[AgentVersion]
    never_reported: int
    laptops: Sequence[SilentStart]
    next_cursor: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopName:
    """Which laptop."""

    id: int
    hostname: str | None
    asset_tag: str | None
    maker: str | None
    model: str | None
    serial: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackName:
    """Which pack."""

    id: int
    maker: str | None
    model: str | None
    serial: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """A matter that a person should see.

    Attributes
    ----------
    ended_by
        Who ended it; null when its cause went by itself.
    handed_to
        The operator it was handed over to.
    version
        Send it with what is to be done to the alert.
    reopened
        How often it came back after it had ended.
    cautions
        For whoever goes near the laptop; with every `stop-use`.
    """

    id: int
    kind: AlertKind
    urgency: Urgency
    state: AlertState
    site: str | None
    laptop: LaptopName | None
    pack: PackName | None
    opened_at: datetime
    changed_at: datetime
    ended_at: datetime | None
    ended_because: str | None
    ended_by: str | None
    planned_on: date | None
    handed_to: str | None
    version: int
    reopened: int
    reasons: Sequence[str]
    next_step: str
    cautions: Sequence[str]
    figures_opened: Plain
    figures_now: Plain


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailLine:
    """Who did what, when.

    Attributes
    ----------
    subject
        What it was done to, such as ``alert:12`` or ``pack:7``.
    """

    at: datetime
    who: str
    action: str
    subject: str
    detail: Plain | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trail:
    """The newest lines of a trail, newest first."""

    lines: Sequence[TrailLine]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertDetails(Alert):
    """An alert, and what people did with it: newest first."""

    trail: Sequence[TrailLine]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertPage:
    """A part of the alert list: most urgent first, then oldest.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    counts
        Alerts that are not ended, by urgency, at the site asked for.
    """

    alerts: Sequence[Alert]
    next: str | None
    counts: Mapping[Urgency, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class CarriedPack:
    """A pack that sits in a laptop now."""

    pack_id: int
    slot: str
    wear_percent: float | None
    band: Band
    concern: Concern | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopSummary:
    """One laptop of the list, with the packs it carries now."""

    id: int
    hostname: str | None
    asset_tag: str | None
    site: str | None
    holder: str | None
    maker: str | None
    model: str | None
    serial: str | None
    last_report_at: datetime | None
    agent_version: str | None
    packs: Sequence[CarriedPack]


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopPage:
    """A part of the laptop list, in the order of their numbers.

    Attributes
    ----------
    next
        The ``cursor`` of the next part; null at the end.
    """

    laptops: Sequence[LaptopSummary]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WearForecast:
    """When wear passes the two thresholds; null: not within ten years, or unknown."""

    plan: CrossingDates | None
    replace: CrossingDates | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PackAssessment:
    """The newest assessment of a pack; its forecasts are 80 % intervals."""

    as_of: date
    readings: int
    wear_percent: float | None
    band: Band
    fade_percent_per_month: float | None
    crossings: WearForecast
    gauge: str | None
    concern: Concern
    reasons: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class DailyCapacity:
    """The medians of a pack's plausible readings of one day (UTC), in its unit."""

    day: date
    unit: Unit
    design_capacity: float
    full_charge_capacity: float
    cycle_count: int | None
    readings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PackInSlot:
    """A pack's stay in a slot, with what is known of the pack.

    Attributes
    ----------
    until_at
        When it was gone; null while it is there.
    daily
        Its daily values, oldest first, from whichever laptop it was in.
    """

    pack_id: int
    slot: str
    from_at: datetime
    until_at: datetime | None
    maker: str | None
    model: str | None
    serial: str | None
    made_on: date | None
    chemistry: str | None
    unit: Unit
    design_capacity: int | None
    design_voltage_mv: int | None
    full_charge_capacity: int | None
    remaining_capacity: int | None
    cycle_count: int | None
    state: str | None
    voltage_mv: int | None
    temperature_c: float | None
    charge_limit_percent: int | None
    first_seen_at: datetime
    last_seen_at: datetime
    assessment: PackAssessment | None
    daily: Sequence[DailyCapacity]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One item of the inventory before and after; null: was not there."""

    measured_at: datetime
    item: str
    before: Any
    after: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class LaptopDetails:
    """Everything known of one laptop; memory, drives and remarks as last reported."""

    id: int
    hostname: str | None
    maker: str | None
    model: str | None
    serial: str | None
    board_uuid: str | None
    chassis: str | None
    site: str | None
    asset_tag: str | None
    holder: str | None
    enrolled_at: datetime
    last_report_at: datetime | None
    last_measured_at: datetime | None
    agent_version: str | None
    platform: str | None
    mains_online: bool | None
    memory_total_mib: int | None
    memory_slots_used: int | None
    memory_slots_free: int | None
    storage_total_bytes: int | None
    memory: Plain | None
    drives: Sequence[Plain] | None
    remarks: Sequence[str] | None
    packs: Sequence[PackInSlot]
    alerts: Sequence[Alert]
    changes: Sequence[Change]


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """The collector runs, or is ready to work."""

    status: Literal["ok"] = "ok"
