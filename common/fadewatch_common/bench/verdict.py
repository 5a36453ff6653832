"""The verdict of a bench check."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from fadewatch_common.bench.equipment import (
    judge_drives,
    judge_matters,
    judge_memory,
    judge_reading,
)
from fadewatch_common.bench.facts import LaptopFacts, PackFacts
from fadewatch_common.bench.level import judge_gauge
from fadewatch_common.bench.packs import judge_gone, judge_identity, judge_new_pack
from fadewatch_common.bench.power import judge_power
from fadewatch_common.bench.remark import Remark, Severity
from fadewatch_common.bench.service import judge_wear

Verdict = Literal["ready", "ready-with-remarks", "not-ready"]

VERDICTS: tuple[Verdict, ...] = ("not-ready", "ready-with-remarks", "ready")

VERDICT_WORDS: dict[Verdict, str] = {
    "ready": "Ready",
    "ready-with-remarks": "Ready with remarks",
    "not-ready": "Not ready",
}

_SEVERITIES: tuple[Severity, ...] = ("stops", "remark", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchCheck:
    """A verdict with its remarks, the gravest first."""

    verdict: Verdict
    service_years: float
    remarks: tuple[Remark, ...]

    @property
    def look_first(self) -> bool:
        """Say whether something found may go with a pack that swells."""
        return any(remark.look_first for remark in self.remarks)

    def of(self, severity: Severity) -> tuple[Remark, ...]:
        """Return the remarks of one severity."""
        return tuple(one for one in self.remarks if one.severity == severity)


def check(facts: LaptopFacts) -> BenchCheck:
    """Apply every rule and return the verdict."""
    found = sorted(_remarks(facts), key=lambda one: _SEVERITIES.index(one.severity))
    severities = {remark.severity for remark in found}
    verdict: Verdict = "ready"
    if "stops" in severities:
        verdict = "not-ready"
    elif "remark" in severities:
        verdict = "ready-with-remarks"
    return BenchCheck(
        verdict=verdict, service_years=facts.service_years, remarks=tuple(found)
    )


def _remarks(facts: LaptopFacts) -> Iterator[Remark]:
    yield from judge_matters(facts)
    if not facts.packs:
        yield Remark(
            kind="no-pack",
            severity="stops",
            sentence="0 packs were found: fit one, or see that it is seated and that "
            "its plug is in.",
            figures={"packs": 0},
        )
    for pack in facts.packs:
        for remark in _of_pack(facts, pack):
            yield replace(remark, slot=pack.read.slot)
    yield from judge_gone(facts)
    yield from judge_memory(facts)
    yield from judge_drives(facts)
    yield from judge_reading(facts)


def _of_pack(facts: LaptopFacts, pack: PackFacts) -> Iterator[Remark]:
    yield from judge_wear(facts, pack)
    yield from judge_gauge(facts, pack)
    yield from judge_power(facts, pack)
    yield from judge_identity(pack)
    yield from judge_new_pack(facts, pack)
