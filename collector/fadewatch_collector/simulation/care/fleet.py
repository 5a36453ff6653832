"""Draw a fleet in care: its laptops, its packs, and which is swapped when."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from fadewatch_collector.simulation.care.models import MODELS, stranger_kinds
from fadewatch_collector.simulation.care.plan import (
    Fit,
    Fitting,
    LaptopPlan,
    PackPlan,
)
from fadewatch_collector.simulation.care.quirks import draw_spans
from fadewatch_collector.simulation.courses import draw_courses
from fadewatch_collector.simulation.fleet import OFFICE, Numbers
from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Laptop

WEAK_SHARE = 0.30  # of laptops carry packs without an identity of their own; ours
WEAK_SERIALS = (None, "", "0", "0000", "00000000", "N/A")
COUNTING, WRAPPING = 0.8, 0.3  # of packs; of those that count
SECOND_TYPE_SHARE = 0.3  # of laptops of a model that comes with two types
SOUND_SWAP = 0.10  # of sound packs are swapped all the same
WORN_OUT = (0.55, 0.78)  # [fraction of design] at which packs are swapped
FITS = {Fit.NEW: 0.64, Fit.USED: 0.16, Fit.OTHER_TYPE: 0.15, Fit.DEAD: 0.05}
MOVES = 0.03  # of laptops give their pack to another
LOANS = 0.02  # of laptops lend it for some days
TWINS = 0.015  # of laptops came with a serial that another laptop's pack has too
EVERY = (1, 1, 2, 4, 7)  # [day] between two ways to the collector; ours
USED_FOR = (300, 1400)  # [day] until a used pack comes into its second laptop
MIX = replace(OFFICE, drop=0.03)


@dataclass(frozen=True, slots=True, eq=False)
class CareFleet:
    """Laptops and packs, and what packs hold and count day by day.

    Attributes
    ----------
    shown
        Reported full-charge capacity, one row a pack [fraction of design].
    """

    start: date
    days: int
    laptops: tuple[LaptopPlan, ...]
    packs: tuple[PackPlan, ...]
    shown: Numbers
    cycles: Numbers


def care_fleet(laptops: int, *, days: int, start: date, seed: int) -> CareFleet:
    """Draw a fleet; the same arguments always give the same one."""
    draft = _Draft(np.random.default_rng([seed, 0]), days, start)
    for number in range(laptops):
        draft.add_laptop(number)
    shown, cycles = draft.first_courses(np.random.default_rng([seed, 1]))
    draft.share_serials()
    draft.move_and_lend()
    draft.swap_worn(shown)
    later_shown, later_cycles = draft.later_courses(np.random.default_rng([seed, 2]))
    return CareFleet(
        start=start,
        days=days,
        laptops=tuple(draft.laptops),
        packs=tuple(draft.packs),
        shown=np.concatenate([shown, later_shown]),
        cycles=np.concatenate([cycles, later_cycles]),
    )


class _Draft:
    def __init__(self, rng: np.random.Generator, days: int, start: date) -> None:
        self._rng = rng
        self._days = days
        self._start = start
        self._serials: set[tuple[int, str]] = set()
        self._taken: set[tuple[int, str]] = set()
        self.laptops: list[LaptopPlan] = []
        self.packs: list[PackPlan] = []
        self._firsts = 0

    def add_laptop(self, number: int) -> None:
        """Add a laptop with its first packs."""
        rng = self._rng
        model = int(rng.integers(len(MODELS)))
        kind = MODELS[model]
        since = int(rng.integers(1, self._days)) if rng.random() < 0.06 else 0  # noqa: PLR2004
        retired = rng.random() < 0.04  # noqa: PLR2004
        last = int(rng.integers(since, self._days)) if retired else self._days - 1
        plan = LaptopPlan(
            number=number,
            model=model,
            laptop=Laptop(
                hostname=f"{kind.model.split()[0].lower()}-{number:04d}",
                maker=kind.maker,
                model=kind.model,
                serial=f"{kind.maker[0]}{number:05d}X{int(rng.integers(10, 99))}",
                board_uuid=f"7c1e{number:04x}-52d1-4c7b-9d20-{number:012x}",
                chassis="notebook",
            ),
            since=since,
            until=last,
            use=float(rng.uniform(0.45, 0.95)),
            every=int(rng.choice(EVERY)),
            spans=draw_spans(rng, self._days),
        )
        second = kind.second_kind is not None and rng.random() < SECOND_TYPE_SHARE
        weak = bool(rng.random() < WEAK_SHARE)
        for slot in kind.slots:
            own = kind.second_kind if second and kind.second_kind else kind.kind
            pack = self._add_pack(own, born=None, weak=weak)
            plan.fittings.append(Fitting(pack, slot, 0, Fit.FIRST))
        self.laptops.append(plan)
        self._firsts = len(self.packs)

    def first_courses(self, rng: np.random.Generator) -> tuple[Numbers, Numbers]:
        """Draw what the packs that are there from the start hold and count."""
        kinds = np.array([pack.kind for pack in self.packs])
        courses = draw_courses(rng, MIX, self._days, kinds)
        return courses.shown, courses.cycles.astype(float)

    def later_courses(self, rng: np.random.Generator) -> tuple[Numbers, Numbers]:
        """Draw the same for the packs that came later."""
        later = self.packs[self._firsts :]
        if not later:
            return np.empty((0, self._days)), np.empty((0, self._days))
        kinds = np.array([pack.kind for pack in later])
        age = np.array([-(pack.born or 0) for pack in later], dtype=float)
        calm = replace(MIX, drop=0.0, rests_a_year=0.0, frozen=0.0)
        courses = draw_courses(rng, calm, self._days, kinds, age)
        return courses.shown, courses.cycles.astype(float)

    def share_serials(self) -> None:
        """Give some packs the identity that a pack in another laptop has."""
        for laptop in self.laptops:
            twin = self._partner(laptop) if self._rng.random() < TWINS else None
            if twin is None:
                continue
            one, other = laptop.fittings[0], twin.fittings[0]
            alike = self.packs[one.pack]
            self.packs[other.pack] = replace(
                self.packs[other.pack],
                kind=alike.kind,
                serial=alike.serial,
                made_on=alike.made_on,
            )
            self._taken |= {(laptop.number, one.slot), (twin.number, other.slot)}

    def move_and_lend(self) -> None:
        """Let some packs go from one laptop to another, and some come back."""
        for giver in self.laptops:
            chance = self._rng.random()
            if chance < MOVES + LOANS:
                day = int(self._rng.integers(30, self._days - 40))
                self._give(giver, day, is_loan=chance < LOANS)

    def _give(self, giver: LaptopPlan, day: int, *, is_loan: bool) -> None:
        taker = self._partner(giver)
        slot = MODELS[giver.model].slots[0]
        if taker is None or max(giver.since, taker.since) > day - 20:
            return
        given, own = giver.fittings[0].pack, taker.fittings[0].pack
        self._taken |= {(giver.number, slot), (taker.number, slot)}
        taker.fittings.append(Fitting(given, slot, day, Fit.MOVED))
        if is_loan:
            back = day + int(self._rng.integers(6, 25))
            taker.fittings.append(Fitting(own, slot, back, Fit.BACK))
            giver.fittings.append(Fitting(-1, slot, day, Fit.FIRST))
            giver.fittings.append(Fitting(given, slot, back + 1, Fit.BACK))
        else:
            giver.until = min(giver.until, day - 1)

    def _partner(self, giver: LaptopPlan) -> LaptopPlan | None:
        slot = MODELS[giver.model].slots[0]
        for other in self.laptops[giver.number + 1 :]:
            packs = (giver.fittings[0].pack, other.fittings[0].pack)
            if (
                other.model == giver.model
                and (other.number, slot) not in self._taken
                and (giver.number, slot) not in self._taken
                and all(self.packs[pack].is_firm for pack in packs)
            ):
                return other
        return None

    def swap_worn(self, shown: Numbers) -> None:
        """Swap packs that became too worn, and a few that did not."""
        for laptop in self.laptops:
            for first in [one for one in laptop.fittings if one.fit is Fit.FIRST]:
                if first.pack >= 0 and (laptop.number, first.slot) not in self._taken:
                    self._swap(laptop, first, shown[first.pack])

    def _swap(self, laptop: LaptopPlan, first: Fitting, shown: Numbers) -> None:
        rng = self._rng
        low = np.flatnonzero(shown < rng.uniform(*WORN_OUT))
        lag = int(rng.integers(10, 120))
        day = int(low[0]) + lag if len(low) else int(rng.integers(20, self._days))
        wanted = len(low) > 0 or rng.random() < SOUND_SWAP
        weak = not self.packs[first.pack].is_firm
        while wanted and laptop.since + 10 < day < laptop.until - 10:
            fits = list(FITS)
            fit = fits[int(rng.choice(len(fits), p=list(FITS.values())))]
            laptop.fittings.append(self._fitting(laptop, first.slot, day, fit, weak))
            # What was not right is often put right some weeks later.
            wanted = fit is not Fit.NEW and rng.random() < 0.7  # noqa: PLR2004
            day += int(rng.integers(12, 60))

    def _fitting(
        self, laptop: LaptopPlan, slot: str, day: int, fit: Fit, weak: bool
    ) -> Fitting:
        rng = self._rng
        model = MODELS[laptop.model]
        kind = model.kind
        if fit is Fit.OTHER_TYPE:
            kind = int(rng.choice(stranger_kinds(model)))
        elif fit is Fit.NEW and model.second_kind is not None and rng.random() < 0.3:  # noqa: PLR2004
            kind, fit = model.second_kind, Fit.SECOND_TYPE
        age = int(rng.integers(*USED_FOR)) if fit is Fit.USED else int(rng.integers(3))
        pack = self._add_pack(
            kind, born=day - age, weak=weak, charges=fit is not Fit.DEAD
        )
        return Fitting(pack, slot, day, fit)

    def _add_pack(
        self, kind: int, *, born: int | None, weak: bool, charges: bool = True
    ) -> int:
        rng = self._rng
        serial = (
            WEAK_SERIALS[int(rng.integers(len(WEAK_SERIALS)))]
            if weak
            else self._serial(kind)
        )
        counts = bool(rng.random() < COUNTING)
        made_on = self._start + timedelta(days=(born or -400) - 60)
        self.packs.append(
            PackPlan(
                kind=kind,
                serial=serial,
                made_on=made_on if not weak and rng.random() < 0.5 else None,  # noqa: PLR2004
                born=born,
                counts=counts,
                wraps=counts and bool(rng.random() < WRAPPING),
                is_firm=not weak,
                charges=charges,
            )
        )
        return len(self.packs) - 1

    def _serial(self, kind: int) -> str:
        while True:
            # The Smart Battery Data Specification gives a serial 16 bits.
            serial = f"{int(self._rng.integers(1, 2**16)):05d}"
            if not is_placeholder(serial) and (kind, serial) not in self._serials:
                self._serials.add((kind, serial))
                return serial
