"""The bench check of this laptop: read it, find its figures, apply the rules."""

from collections.abc import Mapping
from datetime import date
from typing import Any, NamedTuple

from fadewatch_agent.basis import Basis
from fadewatch_agent.configuration import Settings
from fadewatch_agent.readers.machine import Machine
from fadewatch_agent.readers.supplies import Pause
from fadewatch_agent.reading import Moment, take_reading
from fadewatch_agent.seen import kept_slots, seen_after
from fadewatch_agent.state import (
    STATE_FILE,
    ensure_folder,
    only_one,
    read_record,
    write_record,
)
from fadewatch_common.bench.facts import BenchFigures, BenchReading, SlotFigures
from fadewatch_common.bench.gather import gather
from fadewatch_common.bench.verdict import BenchCheck, check
from fadewatch_common.decoding import UnreadableRecord, from_plain
from fadewatch_common.report import Laptop, Report


class Asked(NamedTuple):
    """What a bench check is asked for.

    Attributes
    ----------
    settings
        None: nothing kept on this laptop is used, and no collector is asked.
    service_years
        None: those of the policy.
    """

    settings: Settings | None
    service_years: float | None = None
    is_new_pack: bool = False
    is_offline: bool = False


class Bench(NamedTuple):
    """A finished check.

    Attributes
    ----------
    not_kept
        Why the packs seen today could not be kept for the next check.
    """

    report: Report
    basis: Basis
    check: BenchCheck
    is_new_pack: bool
    not_kept: str | None


def bench(machine: Machine, moment: Moment, asked: Asked, pause: Pause) -> Bench:
    """Check this laptop, and keep which packs were seen."""
    report = take_reading(machine, moment, None, pause).report
    today = report.measured_at.date()
    found, record = _known(asked, report, today)
    facts = gather(
        bench_reading(report),
        found.figures,
        today=today,
        seen=_slots(record, report.laptop),
        service_years=asked.service_years,
        is_new_pack=asked.is_new_pack,
    )
    not_kept = None if asked.settings is None else _keep(asked.settings, report, today)
    return Bench(report, found, check(facts), asked.is_new_pack, not_kept)


def bench_reading(report: Report) -> BenchReading:
    """Return what of a report a bench check looks at."""
    return BenchReading(
        read_on=report.measured_at.date(),
        packs=report.packs,
        mains_online=report.mains_online,
        memory=report.memory,
        drives=report.drives,
        remarks=report.remarks,
    )


def _known(
    asked: Asked, report: Report, today: date
) -> tuple[Basis, Mapping[str, Any]]:
    if asked.settings is None:
        why = "a saved tree is read"
        return Basis(BenchFigures(as_of=today), "built-in", why), {}
    # A saved tree needs none of this, nor what talks to a collector.
    from fadewatch_agent.asking import basis  # noqa: PLC0415

    found = basis(asked.settings, report.laptop, today, ask=not asked.is_offline)
    try:
        return found, read_record(asked.settings.state / STATE_FILE)
    except OSError:
        return found, {}


def _slots(record: Mapping[str, Any], laptop: Laptop) -> list[SlotFigures]:
    slots = []
    for kept in kept_slots(record, laptop):
        try:
            slots.append(from_plain(SlotFigures, kept))
        except UnreadableRecord:
            continue
    return slots


def _keep(settings: Settings, report: Report, today: date) -> str | None:
    file = settings.state / STATE_FILE
    try:
        ensure_folder(settings.state)
        with only_one(settings.state) as alone:
            if not alone:
                return "another run of the agent holds its state"
            record = read_record(file)
            seen = seen_after(record, report.laptop, report.packs, today)
            write_record(file, record | seen)
    except OSError as error:
        return f"{settings.state} cannot be written: {error.strerror or error}"
    return None
