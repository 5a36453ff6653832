"""One laptop's reports in time order, and when each reaches the collector."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import numpy as np

from fadewatch_collector.simulation.care.fleet import CareFleet
from fadewatch_collector.simulation.care.models import MODELS
from fadewatch_collector.simulation.care.plan import (
    RIGHT_FITS,
    WRONG_FITS,
    Fit,
    Fitting,
    LaptopPlan,
    PlantedSwap,
    Quirk,
)
from fadewatch_collector.simulation.care.readings import read_pack, spoil
from fadewatch_common.policy import NEW_PACK_CYCLES, NEW_PACK_WEAR
from fadewatch_common.report import Agent, Pack, Report
from fadewatch_common.report_id import RANDOM_BITS, make_report_id

AGENT = Agent(version="0.1.0", platform="linux")
FACTORY_DATE = datetime(2015, 1, 1, tzinfo=UTC)
YEARS_AHEAD = timedelta(days=9 * 365)
HOURS_AHEAD = timedelta(hours=11)
WEEKEND, WEEKEND_USE = 5, 0.08
LATE, RETRIED = 0.02, 0.03  # of deliveries; ours
MOST_IN_ONE = 500
SOON = 5  # [day] between fitting and the first report
CLEARLY_USED, OFTEN_CYCLED = 0.08, 20  # wear and cycles of a pack that is not new


@dataclass(frozen=True, slots=True)
class Delivery:
    """One request as it reaches the collector: reports of one laptop."""

    laptop: int
    day: int
    reports: tuple[Report, ...]


@dataclass(frozen=True, slots=True)
class Diary:
    """What one laptop sends, and the swaps that its reports show."""

    deliveries: tuple[Delivery, ...]
    swaps: tuple[PlantedSwap, ...]


def keep_diary(fleet: CareFleet, laptop: LaptopPlan, seed: int) -> Diary:
    """Give one laptop's deliveries in the order of their arrival."""
    writer = _Writer(np.random.default_rng([seed, 3, laptop.number]), fleet, laptop)
    written = list(writer.write())
    return Diary(tuple(writer.deliver(written)), tuple(writer.swaps))


class _Writer:
    def __init__(
        self, rng: np.random.Generator, fleet: CareFleet, laptop: LaptopPlan
    ) -> None:
        self._rng = rng
        self._fleet = fleet
        self._laptop = laptop
        self._slow_by = timedelta(days=int(rng.integers(1, 30)))
        self._readings: dict[int, int] = {}
        self._last: dict[str, tuple[Fitting, int, bool]] = {}
        self.swaps: list[PlantedSwap] = []

    def write(self) -> Iterator[tuple[int, Report]]:
        for day in range(self._laptop.since, self._laptop.until + 1):
            if self._is_used(day):
                yield day, self._report(day)

    def _is_used(self, day: int) -> bool:
        weekday = (self._fleet.start + timedelta(days=day)).weekday()
        use = self._laptop.use if weekday < WEEKEND else WEEKEND_USE
        return self._rng.random() < use and not self._laptop.has(Quirk.OFF, day)

    def _report(self, day: int) -> Report:
        quirks = frozenset(span.quirk for span in self._laptop.spans if span.holds(day))
        packs, remarks = self._packs(day, quirks)
        minute = int(self._rng.integers(420, 1080))
        midnight = datetime.combine(
            self._fleet.start + timedelta(days=day), time(), UTC
        )
        measured_at = self._by_own_clock(midnight + timedelta(minutes=minute), quirks)
        return Report(
            report_id=self._report_id(measured_at),
            measured_at=measured_at,
            agent=AGENT,
            laptop=self._laptop.laptop,
            packs=packs,
            mains_online=any(pack.state != "discharging" for pack in packs),
            remarks=remarks,
        )

    def _packs(
        self, day: int, quirks: frozenset[Quirk]
    ) -> tuple[tuple[Pack, ...], tuple[str, ...]]:
        packs: list[Pack] = []
        remarks: list[str] = []
        last_slot = MODELS[self._laptop.model].slots[-1]
        for slot, fitting in self._laptop.fitted(day).items():
            if fitting.pack < 0 or (Quirk.EMPTY in quirks and slot == last_slot):
                continue
            if Quirk.UNREADABLE in quirks and slot == last_slot:
                remarks.append(f"{slot}: the system gave no data")
                continue
            packs.append(self._read(fitting, day, quirks))
        if not packs and not remarks:
            remarks.append("No pack was found in any slot.")
        return tuple(packs), tuple(remarks)

    def _read(self, fitting: Fitting, day: int, quirks: frozenset[Quirk]) -> Pack:
        plan = self._fleet.packs[fitting.pack]
        since = self._readings.get(fitting.pack, 0)
        self._readings[fitting.pack] = since + 1
        self._note_swap(fitting, day, Quirk.NO_SERIAL not in quirks)
        figures = (
            float(self._fleet.shown[fitting.pack, day]),
            float(self._fleet.cycles[fitting.pack, day]),
        )
        pack = read_pack(self._rng, plan, fitting.slot, figures, (fitting.fit, since))
        return spoil(self._rng, pack, quirks)

    def _note_swap(self, fitting: Fitting, day: int, has_serial: bool) -> None:
        before = self._last.get(fitting.slot)
        self._last[fitting.slot] = fitting, day, has_serial
        if before is None or before[0].pack == fitting.pack:
            return
        packs = self._fleet.packs
        old, last_day, had_serial = before
        firm = packs[old.pack].is_firm and packs[fitting.pack].is_firm
        self.swaps.append(
            PlantedSwap(
                laptop=self._laptop.number,
                slot=fitting.slot,
                old_pack=old.pack,
                new_pack=fitting.pack,
                last_before=last_day,
                first_after=day,
                fit=fitting.fit,
                is_firm=firm and has_serial and had_serial,
                is_wrong=self._is_wrong(fitting, day),
            )
        )

    def _is_wrong(self, fitting: Fitting, day: int) -> bool | None:
        if fitting.fit in RIGHT_FITS:
            # One that was cycled before its first report is no longer like new, and
            # the gauge of one may say that it is not.
            looks_new = (
                self._fleet.shown[fitting.pack, day] >= 1 - NEW_PACK_WEAR
                and self._fleet.cycles[fitting.pack, day] <= NEW_PACK_CYCLES
            )
            return False if day - fitting.day <= SOON and looks_new else None
        pack = self._fleet.packs[fitting.pack]
        worn = self._fleet.shown[fitting.pack, day] < 1 - CLEARLY_USED
        counted = pack.counts and self._fleet.cycles[fitting.pack, day] > OFTEN_CYCLED
        if fitting.fit in WRONG_FITS or worn or counted:
            return None if fitting.fit is Fit.BACK else True
        return None

    def _by_own_clock(self, at: datetime, quirks: frozenset[Quirk]) -> datetime:
        if Quirk.FACTORY_CLOCK in quirks:
            return FACTORY_DATE + timedelta(hours=int(self._rng.integers(1, 200)))
        if Quirk.FUTURE_CLOCK in quirks:
            return at + YEARS_AHEAD
        if Quirk.FAST_CLOCK in quirks:
            return at + HOURS_AHEAD
        if Quirk.SLOW_CLOCK in quirks:
            return at - self._slow_by
        return at

    def _report_id(self, at: datetime) -> str:
        high, low = (int(word) for word in self._rng.integers(0, 2**37, 2))
        bits = (high << 37 | low) % 2**RANDOM_BITS
        return make_report_id(int(at.timestamp() * 1000), bits)

    def deliver(self, written: list[tuple[int, Report]]) -> Iterator[Delivery]:
        """Give what was written in the order in which it arrives."""
        arrivals: dict[int, list[Report]] = {}
        for day, report in written:
            arrivals.setdefault(self._arrival(day), []).append(report)
        for day in sorted(arrivals):
            reports = arrivals[day]
            for first in range(0, len(reports), MOST_IN_ONE):
                part = tuple(reports[first : first + MOST_IN_ONE])
                yield Delivery(self._laptop.number, day, part)
                if self._rng.random() < RETRIED:
                    yield Delivery(self._laptop.number, day, part)

    def _arrival(self, day: int) -> int:
        every = self._laptop.every
        arrival = day + (self._laptop.number - day) % every
        for span in self._laptop.spans:
            if span.quirk is Quirk.SPOOLED and span.holds(arrival):
                arrival = span.last + 1
        if every == 1 and arrival == day and self._rng.random() < LATE:
            arrival += int(self._rng.integers(1, 4))
        return arrival
