"""File reports: which pack a reading is of, where it sat, what changed in a laptop.

A ``Desk`` holds what is known of the laptops and packs that a batch of reports
touches. Filing a report changes the desk only; the store loads it before and saves
it after.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from fadewatch_collector.rules.identity import (
    figures_of,
    is_same_weak_pack,
    pack_identity,
)
from fadewatch_collector.rules.inventory import Change, drive_changes, memory_changes
from fadewatch_collector.rules.levels import (
    KEPT,
    Jump,
    Level,
    began_counting,
    find_jump,
    leapt,
)
from fadewatch_collector.rules.records import (
    Clash,
    FiledReading,
    LaptopRecord,
    Move,
    PackRecord,
    Place,
    Swap,
)
from fadewatch_collector.rules.slots import (
    Stay,
    cut_last,
    see_empty,
    see_pack,
    stay_after,
    stay_at,
)
from fadewatch_common.encoding import to_plain
from fadewatch_common.report import Pack, Report
from fadewatch_common.wear import is_plausible, wear

CLASH_WINDOW = timedelta(days=3)
"""A pack that is back in a slot so soon after another laptop showed it is two packs
with one identity. Own choice: packs are lent for a test, but rarely to and fro."""

LAPTOP_FACTS = ("hostname", "maker", "model", "serial", "board_uuid", "chassis")


@dataclass(slots=True)
class Desk:
    """What a batch of reports touches, and what filing it gave."""

    laptops: dict[int, LaptopRecord]
    packs: dict[int, PackRecord]
    stays: dict[Place, list[Stay]]
    levels: dict[int, list[Level]] = field(default_factory=dict)
    readings: list[FiledReading] = field(default_factory=list)
    changes: list[tuple[int, datetime, Change]] = field(default_factory=list)
    clashes: list[Clash] = field(default_factory=list)
    swaps: list[Swap] = field(default_factory=list)
    moves: list[Move] = field(default_factory=list)
    touched_packs: set[int] = field(default_factory=set)
    touched_places: set[Place] = field(default_factory=set)
    by_identity: dict[str, int] = field(init=False)
    # Where to look, so that a report costs the same however many lie on the desk: the
    # places of each laptop, and those where each pack stays or once did.
    _of_laptop: dict[int, dict[Place, None]] = field(init=False)
    _of_pack: dict[int, dict[Place, None]] = field(init=False)

    def __post_init__(self) -> None:
        self.by_identity = {
            pack.identity: pack.id for pack in self.packs.values() if pack.identity
        }
        self._of_laptop = defaultdict(dict)
        self._of_pack = defaultdict(dict)
        for place, stays in self.stays.items():
            for stay in stays:
                self._note_place(place, stay.pack_id)

    def _note_place(self, place: Place, pack_id: int) -> None:
        self._of_laptop[place[0]][place] = None
        self._of_pack[pack_id][place] = None

    def _stays_elsewhere(
        self, pack_id: int, place: Place
    ) -> Iterator[tuple[Place, list[Stay]]]:
        """Give the other places that a pack may have been in, with their stays."""
        for other in self._of_pack.get(pack_id, ()):
            if other != place:
                yield other, self.stays[other]

    def file(self, laptop_id: int, report: Report, at: datetime) -> None:
        """File one report, measured at the given (believable) moment."""
        for pack in report.packs:
            self._file_pack((laptop_id, pack.slot), pack, report, at)
        self._see_empty_slots(laptop_id, report, at)
        self._file_inventory(self.laptops[laptop_id], report, at)

    def _file_pack(
        self, place: Place, pack: Pack, report: Report, at: datetime
    ) -> None:
        # One whose own clock is not believed may be older than what came before it.
        unsure = report.measured_at != at
        identity = pack_identity(pack)
        record = self._record_of(place, identity, pack, at, unsure=unsure)
        record.take(pack, at)
        self._leave_other_places(record.id, place, at)
        before = self.stays.get(place, ())
        after = see_pack(before, record.id, at)
        self.stays[place] = after
        self._note_place(place, record.id)
        self._leave_this_place(record.id, place)
        if before:
            self._note_swap(place, at, before[-1].pack_id, after[-1].pack_id)
        self.touched_places.add(place)
        self.touched_packs.add(record.id)
        self.readings.append(
            FiledReading(
                record.id, place[0], report.report_id, at, pack, report.mains_online
            )
        )
        is_last = after[-1].pack_id == record.id
        if self._keep_level(record, pack, at) and identity is None:
            jump = find_jump(self.levels[record.id])
            if jump is not None and is_last:
                self._part_from(place, record, pack, jump)

    def _note_swap(self, place: Place, at: datetime, old: int, new: int) -> None:
        names = {self.packs[number].identity for number in (old, new)}
        # An identity that another laptop has too is told apart: no other pack came.
        alike = any(name and scoped_identity(place, name) in names for name in names)
        if old != new and not alike:
            self.swaps.append(Swap(place, at, old, new))

    def _keep_level(self, record: PackRecord, pack: Pack, at: datetime) -> bool:
        """Keep what the newest reading says of capacity; False: it says nothing."""
        full, design = pack.full_charge_capacity, pack.design_capacity
        if full is None or design is None or not is_plausible(full, design):
            return False
        if at < record.last_seen_at:
            return False
        kept = self.levels.setdefault(record.id, [])
        kept.append(Level(at, full, 1 - wear(full, design), pack.cycle_count))
        del kept[:-KEPT]
        return True

    def _part_from(self, place: Place, old: PackRecord, pack: Pack, jump: Jump) -> None:
        """Make the newest readings another pack's: they show that it was swapped."""
        new = self._new_record(None, pack, jump.since)
        new.take(pack, old.last_seen_at)
        kept = self.levels[old.id]
        self.levels[new.id] = [level for level in kept if level.at >= jump.since]
        self.levels[old.id] = [level for level in kept if level.at < jump.since]
        old.last_seen_at = jump.last.at
        old.full_charge_capacity = jump.last.full_charge_capacity
        old.remaining_capacity = None
        self.stays[place] = cut_last(
            self.stays[place], new.id, jump.last.at, jump.since
        )
        self._note_place(place, new.id)
        self.swaps.append(Swap(place, jump.since, old.id, new.id))
        self.moves.append(Move(place, jump.since, old.id, new.id))
        self.touched_packs.add(new.id)
        self.readings = [
            replace(one, pack_id=new.id) if self._moves(one, self.moves[-1]) else one
            for one in self.readings
        ]

    @staticmethod
    def _moves(reading: FiledReading, move: Move) -> bool:
        place = reading.laptop_id, reading.pack.slot
        return (reading.pack_id, place) == (move.old_pack_id, move.place) and (
            reading.measured_at >= move.since
        )

    def _record_of(
        self,
        place: Place,
        identity: str | None,
        pack: Pack,
        at: datetime,
        *,
        unsure: bool,
    ) -> PackRecord:
        fitted = self._fitted(place, pack, at, unsure=unsure)
        if identity is None:
            return fitted or self._new_record(None, pack, at)
        own = scoped_identity(place, identity)
        if own in self.by_identity:
            return self.packs[self.by_identity[own]]
        if identity in self.by_identity:
            return self._known_record(place, identity, pack, at)
        if fitted and not fitted.identity:
            # The serial could not be read before: the pack gets its identity now.
            fitted.identity = identity
            self.by_identity[identity] = fitted.id
            return fitted
        return self._new_record(identity, pack, at)

    def _fitted(
        self, place: Place, pack: Pack, at: datetime, *, unsure: bool
    ) -> PackRecord | None:
        """Return the pack in the slot that the reading goes on from, if it does."""
        stays = self.stays.get(place, ())
        for stay in (stay_at(stays, at), stay_after(stays, at)):
            record = self.packs[stay.pack_id] if stay else None
            if record and self._continues(record, pack, at, unsure=unsure):
                return record
        return None

    def _continues(
        self, fitted: PackRecord, pack: Pack, at: datetime, *, unsure: bool
    ) -> bool:
        before, now = fitted.figures(), figures_of(pack)
        days = abs(at - fitted.last_seen_at) / timedelta(days=1)
        if at < fitted.last_seen_at:
            return is_same_weak_pack(now, before, days, order_is_unsure=True)
        levels = self.levels.get(fitted.id, ())
        return is_same_weak_pack(before, now, days, order_is_unsure=unsure) and not (
            leapt(levels, pack.cycle_count, at)
            or (fitted.cycle_count is None and _began_counting(levels, pack))
        )

    def _known_record(
        self, place: Place, identity: str, pack: Pack, at: datetime
    ) -> PackRecord:
        record = self.packs[self.by_identity[identity]]
        other = self._clashes_with(record.id, place, at)
        if other is None:
            return record
        own = self._new_record(scoped_identity(place, identity), pack, at)
        self.clashes.append(Clash(own.id, place, other))
        return own

    def _clashes_with(self, pack_id: int, place: Place, at: datetime) -> Place | None:
        """Return another place that showed the pack when it was here too."""
        left = [
            stay.last_seen_at
            for stay in self.stays.get(place, ())
            if stay.pack_id == pack_id and stay.last_seen_at < at
        ]
        for other, stays in self._stays_elsewhere(pack_id, place):
            for stay in (stay for stay in stays if stay.pack_id == pack_id):
                if stay.from_at <= at <= stay.last_seen_at:
                    return other
                if (
                    left
                    and at - max(left) <= CLASH_WINDOW
                    and (max(left) <= stay.last_seen_at <= at)
                ):
                    return other
        return None

    def _leave_other_places(self, pack_id: int, place: Place, at: datetime) -> None:
        for other, stays in self._stays_elsewhere(pack_id, place):
            for index, stay in enumerate(stays):
                if (
                    stay.pack_id == pack_id
                    and stay.last_seen_at < at
                    and (stay.until_at is None or at < stay.until_at)
                ):
                    stays[index] = replace(stay, until_at=at)
                    self.touched_places.add(other)

    def _leave_this_place(self, pack_id: int, place: Place) -> None:
        """End the stay that a late report began, when the pack was elsewhere since."""
        last = self.stays[place][-1]
        if last.pack_id != pack_id or last.until_at is not None:
            return
        since = [
            stay.from_at
            for _, stays in self._stays_elsewhere(pack_id, place)
            for stay in stays
            if stay.pack_id == pack_id and stay.from_at > last.last_seen_at
        ]
        if since:
            ended = replace(last, until_at=min(since))
            self.stays[place] = [*self.stays[place][:-1], ended]

    def _new_record(self, identity: str | None, pack: Pack, at: datetime) -> PackRecord:
        # Known packs are never taken off the desk: no number comes twice.
        key = -1 - len(self.packs)
        record = PackRecord(
            id=key, identity=identity, unit=pack.unit, first_seen_at=at, last_seen_at=at
        )
        self.packs[key] = record
        if identity:
            self.by_identity[identity] = key
        return record

    def _see_empty_slots(self, laptop_id: int, report: Report, at: datetime) -> None:
        shown = {pack.slot for pack in report.packs}
        for place in self._of_laptop.get(laptop_id, ()):
            if place[1] in shown:
                continue
            # A slot that a remark names was not readable, which is not empty.
            if any(place[1] in remark for remark in report.remarks):
                continue
            before = self.stays[place]
            self.stays[place] = see_empty(before, at)
            if self.stays[place] != before:
                self.touched_places.add(place)

    def _file_inventory(
        self, laptop: LaptopRecord, report: Report, at: datetime
    ) -> None:
        known_at = laptop.inventory_measured_at
        if known_at is not None and at < known_at:
            return
        memory = to_plain(report.memory) if report.memory else None
        drives = [to_plain(drive) for drive in report.drives]
        found = memory_changes(laptop.memory, memory)  # type: ignore[arg-type]  # to_plain of a Memory is a dict
        found += drive_changes(laptop.drives, drives)  # type: ignore[arg-type]  # and of a Drive too
        self.changes += [(laptop.id, at, change) for change in found]
        laptop.inventory_measured_at = at
        if memory is not None:
            laptop.memory = memory  # type: ignore[assignment]  # a dict, see above
        if drives:
            laptop.drives = drives  # type: ignore[assignment]  # dicts, see above
        for name in LAPTOP_FACTS:
            value = getattr(report.laptop, name)
            if value is not None:
                laptop.facts[name] = value
        laptop.facts |= {
            "agent_version": report.agent.version,
            "platform": report.agent.platform,
            "mains_online": report.mains_online,
            "remarks": list(report.remarks),
            "last_measured_at": at,
        }


def _began_counting(levels: Sequence[Level], pack: Pack) -> bool:
    full, design = pack.full_charge_capacity, pack.design_capacity
    if full is None or design is None or not is_plausible(full, design):
        return False
    return began_counting(levels, pack.cycle_count, 1 - wear(full, design))


def scoped_identity(place: Place, identity: str) -> str:
    """Return the identity of a pack that shares its own with another laptop's."""
    return f"{place[0]}/{place[1]}#{identity}"
