"""The demo fleet: its laptops, and their reports in the order of time."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from fadewatch_collector.simulation.demo.courses import PackCourses, pack_courses
from fadewatch_collector.simulation.demo.hardware import (
    Hardware,
    Place,
    after_change,
    hardware_of,
    place_of,
)
from fadewatch_collector.simulation.demo.readings import (
    PackFacts,
    draw_moment,
    facts_of,
    reading,
)
from fadewatch_collector.simulation.demo.script import demo_script
from fadewatch_collector.simulation.demo.stories import (
    DAYS,
    LaptopStory,
    Script,
    Situation,
    Stay,
)
from fadewatch_common import __version__
from fadewatch_common.report import Agent, Laptop, Pack, Report
from fadewatch_common.report_id import RANDOM_BITS, make_report_id

EARLIER_VERSIONS = ("0.0.7", "0.0.9")
UPGRADE_DAYS = (520, 180)  # [day before the end] on which a newer agent came out
THIN_BEFORE = 365  # [day before the end]; older history keeps every second day
WRONG_CLOCK = (300, 293)  # [day before the end]
WRONG_BY = timedelta(days=6 * 365)
_WEEKEND = 5
_WEEKEND_USE = 0.08


@dataclass(frozen=True, slots=True)
class DemoLaptop:
    """One laptop of the demo fleet.

    Attributes
    ----------
    number
        Its place in the fleet; deliveries name it.
    laptop
        What it says of itself when it enrols.
    enrolled_at
        Moment of its first report.
    """

    number: int
    situation: Situation
    laptop: Laptop
    agent: Agent
    place: Place
    enrolled_at: datetime


@dataclass(frozen=True, slots=True)
class Delivery:
    """A report as it reached the collector."""

    laptop: int
    received_at: datetime
    report: Report


@dataclass(frozen=True, slots=True, eq=False)
class DemoFleet:
    """The laptops, and every report in the order in which it was received."""

    laptops: tuple[DemoLaptop, ...]
    deliveries: tuple[Delivery, ...]


def demo_fleet(until: datetime, *, seed: int = 1) -> DemoFleet:
    """Give the demo fleet with its history up to a moment.

    Parameters
    ----------
    until
        No report is later; aware of its offset from UTC.
    seed
        The same arguments always give the same fleet.
    """
    script = demo_script()
    courses = pack_courses(np.random.default_rng([seed, 0]), script)
    until = until.astimezone(UTC)
    facts = _pack_facts(np.random.default_rng([seed, 1]), script, until.date())
    laptops: list[DemoLaptop] = []
    deliveries: list[Delivery] = []
    for number, story in enumerate(script.laptops):
        rng = np.random.default_rng([seed, 2, number])
        diary = _Diary(rng, number, story, until, courses, facts)
        laptops.append(diary.laptop)
        deliveries.extend(diary.deliveries())
    deliveries.sort(key=lambda one: (one.received_at, one.laptop))
    return DemoFleet(tuple(laptops), tuple(deliveries))


def _pack_facts(
    rng: np.random.Generator, script: Script, end: date
) -> tuple[PackFacts, ...]:
    first = [0] * len(script.packs)
    for laptop in script.laptops:
        for stay in laptop.stays:
            first[stay.pack] = max(first[stay.pack], stay.first)
    return tuple(
        facts_of(rng, story, end - timedelta(days=before_end))
        for story, before_end in zip(script.packs, first, strict=True)
    )


class _Diary:
    """One laptop's reports, in time order."""

    def __init__(
        self,
        rng: np.random.Generator,
        number: int,
        story: LaptopStory,
        until: datetime,
        courses: PackCourses,
        facts: tuple[PackFacts, ...],
    ) -> None:
        self._rng = rng
        self._story = story
        self._until = until
        self._courses = courses
        self._facts = facts
        self._seen: set[int] = set()
        place = place_of(rng, number)
        self._before: Hardware = hardware_of(rng, number, story, place)
        self._after = after_change(rng, story, self._before)
        self._upgraded_on = [day - int(rng.integers(0, 45)) for day in UPGRADE_DAYS]
        if rng.random() < 0.12:  # noqa: PLR2004
            self._upgraded_on[1] = -1
        self._platform = "windows" if rng.random() < 0.7 else "linux"  # noqa: PLR2004
        self._number = number
        self._moments = list(self._report_moments())
        self.laptop = DemoLaptop(
            number=number,
            situation=story.situation,
            laptop=self._before.laptop,
            agent=self._agent(self._moments[0][0]),
            place=place,
            enrolled_at=self._moments[0][1],
        )

    def deliveries(self) -> Iterator[Delivery]:
        for before_end, moment in self._moments:
            yield Delivery(self._number, moment, self._report(before_end, moment))

    def _report_moments(self) -> Iterator[tuple[int, datetime]]:
        midnight = datetime.combine(self._until.date(), datetime.min.time(), tzinfo=UTC)
        for before_end in range(self._story.since, self._story.silent_for - 1, -1):
            day = midnight - timedelta(days=before_end)
            chance, minute = self._rng.random(), int(self._rng.integers(435, 1000))
            moment = day + timedelta(minutes=minute, seconds=minute * 7 % 60)
            if moment <= self._until and self._reports(before_end, day, chance):
                yield before_end, moment

    def _reports(self, before_end: int, day: datetime, chance: float) -> bool:
        if before_end in (self._story.since, self._story.silent_for):
            return True
        if any(before_end in (stay.first, stay.last) for stay in self._story.stays):
            return True
        if before_end > THIN_BEFORE and before_end % 2:
            return False
        use = self._story.use if day.weekday() < _WEEKEND else _WEEKEND_USE
        return chance < use

    def _agent(self, before_end: int) -> Agent:
        versions = (*EARLIER_VERSIONS, __version__)
        upgrades = sum(before_end <= day for day in self._upgraded_on)
        return Agent(version=versions[upgrades], platform=self._platform)

    def _report(self, before_end: int, moment: datetime) -> Report:
        changed_on = self._story.changed_on
        changed = changed_on is not None and before_end <= changed_on
        now = self._after if changed else self._before
        packs = tuple(
            self._pack(stay, before_end)
            for stay in self._story.stays
            if stay.last <= before_end <= stay.first
        )
        measured_at = self._by_own_clock(before_end, moment)
        return Report(
            report_id=self._report_id(measured_at),
            measured_at=measured_at,
            agent=self._agent(before_end),
            laptop=now.laptop,
            packs=packs,
            mains_online=not any(pack.state == "discharging" for pack in packs),
            memory=now.memory,
            drives=now.drives,
            remarks=() if packs else ("No pack was found in any slot.",),
        )

    def _pack(self, stay: Stay, before_end: int) -> Pack:
        facts = self._facts[stay.pack]
        column = DAYS - before_end
        just_fitted = facts.story.new and stay.pack not in self._seen
        self._seen.add(stay.pack)
        return reading(
            facts,
            stay.slot,
            float(self._courses.shown[stay.pack, column]),
            int(self._courses.cycles[stay.pack, column]),
            draw_moment(self._rng, facts.story, just_fitted=just_fitted),
        )

    def _by_own_clock(self, before_end: int, moment: datetime) -> datetime:
        wrong = self._story.situation is Situation.WRONG_CLOCK
        if wrong and WRONG_CLOCK[1] <= before_end <= WRONG_CLOCK[0]:
            return moment - WRONG_BY
        return moment

    def _report_id(self, measured_at: datetime) -> str:
        milliseconds = int(measured_at.timestamp() * 1000)
        high, low = (int(word) for word in self._rng.integers(0, 2**37, 2))
        return make_report_id(milliseconds, (high << 37 | low) % 2**RANDOM_BITS)
