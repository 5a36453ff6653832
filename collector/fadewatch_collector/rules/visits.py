"""The visit sheet: everything to do at one laptop while somebody is there."""

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import date

from fadewatch_collector.rules.cautions import (
    BEFORE_OPENING_CAUTIONS,
    STOP_USE_CAUTIONS,
)
from fadewatch_collector.rules.clipping import clipped
from fadewatch_collector.rules.pack_types import PackType, name_key
from fadewatch_collector.rules.signs import SIGNS
from fadewatch_collector.rules.visit_facts import FittedPack, VisitedLaptop
from fadewatch_collector.rules.visit_matters import (
    SAID_BY_DROP,
    Matter,
    is_stop_use,
    matters_of,
    packs_to_renew,
)
from fadewatch_collector.rules.visit_parts import (
    PartAdvice,
    drive_advice,
    memory_advice,
)
from fadewatch_collector.rules.visit_terms import Work
from fadewatch_common.policy import Policy

MOST_MATTERS = 6
MOST_PACKS = 3
"""Matters and packs that a sheet has room for [count]. Own choice."""

TYPE_LENGTH = 90
"""Longest words for a pack type [characters]. Own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do, with a box to tick.

    Attributes
    ----------
    work
        What it counts as when the visit is marked done; None is nothing of its own.
    blanks
        What is written down beside it.
    """

    text: str
    work: Work | None = None
    blanks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitSheet:
    """One laptop's work.

    Attributes
    ----------
    stop_use
        It is pulled from use and handed to trained staff; nobody opens it on a round.
    opens
        Something has to be done inside.
    more_matters
        Matters that the sheet has no room for [count].
    renewed
        Packs to change.
    first
        What comes before anything is opened, or all there is to do.
    steps
        What to do while it is open, or when it is pulled from use.
    checks
        What to do afterwards.
    """

    laptop: VisitedLaptop
    stop_use: bool
    opens: bool
    cautions: tuple[str, ...]
    matters: tuple[Matter, ...]
    more_matters: int
    renewed: tuple[FittedPack, ...]
    bring: tuple[str, ...]
    first: tuple[Step, ...]
    steps: tuple[Step, ...]
    checks: tuple[Step, ...]
    memory: PartAdvice
    drives: PartAdvice


def visit_sheet(laptop: VisitedLaptop, policy: Policy, until: date) -> VisitSheet:
    """Decide what is to be done at a laptop.

    Parameters
    ----------
    until
        Packs that pass the plan threshold by this day are changed at this visit too.
    """
    renewed = packs_to_renew(laptop, until)
    matters = matters_of(laptop, renewed, policy)
    memory = memory_advice(laptop.memory, policy)
    drives = drive_advice(laptop.drives, policy)
    kinds = {matter.kind for matter in matters}
    stop = is_stop_use(laptop)
    opens = not stop and bool(
        renewed or "wrong-pack" in kinds or memory.step or drives.step
    )
    return VisitSheet(
        laptop=laptop,
        stop_use=stop,
        opens=opens,
        cautions=STOP_USE_CAUTIONS if stop else BEFORE_OPENING_CAUTIONS,
        matters=tuple(matters[:MOST_MATTERS]),
        more_matters=max(0, len(matters) - MOST_MATTERS),
        renewed=tuple(renewed),
        bring=tuple(_bring(renewed, memory, drives, stop=stop, opens=opens)),
        first=tuple(() if stop else _first(matters, renewed)),
        steps=tuple(_handing_over() if stop else _inside(renewed, memory, drives))
        if stop or opens
        else (),
        checks=tuple(() if stop else _checks(renewed, opens=opens)),
        memory=memory,
        drives=drives,
    )


def _bring(
    renewed: Sequence[FittedPack],
    memory: PartAdvice,
    drives: PartAdvice,
    *,
    stop: bool,
    opens: bool,
) -> Iterator[str]:
    if stop:
        yield "Another laptop for the holder."
        yield "What your local rules ask for to carry a damaged pack."
        return
    for pack in renewed[:MOST_PACKS]:
        yield f"Pack for slot {clipped(pack.slot, 20)}: {_type_words(pack)}."
    if len(renewed) > MOST_PACKS:
        yield f"And {len(renewed) - MOST_PACKS} more packs: see the laptop's page."
    for part in (memory.bring, drives.bring):
        if part:
            yield part[0].upper() + part[1:] + "."
    if renewed:
        yield "A charger; tape for the old pack's contacts, a box to carry it in."
    if opens:
        yield "Screwdrivers that fit, a tray for the screws, a wrist strap, a brush."


def _type_words(pack: FittedPack) -> str:
    kind = PackType(
        maker=pack.maker,
        model=pack.model,
        unit=pack.unit,
        design_capacity=pack.design_capacity,
        design_voltage_mv=pack.design_voltage_mv,
        chemistry=pack.chemistry,
    )
    unsure = "" if name_key(pack.model) else "; read its label before you order"
    return clipped(kind.label, TYPE_LENGTH) + unsure


def _handing_over() -> Iterator[Step]:
    yield Step(text="Switched off and unplugged; it is not charged again.")
    yield Step(text="The holder has another laptop.", blanks=("Its tag",))
    yield Step(
        text="Put where nothing burns, away from people.", blanks=("Where it lies",)
    )
    yield Step(text="Handed to trained staff.", blanks=("To", "On"))
    yield Step(
        text="Trained staff only: pack taken out.",
        work="pack",
        blanks=("Old pack's serial", "Swollen?"),
    )


def _first(matters: Sequence[Matter], renewed: Sequence[FittedPack]) -> Iterator[Step]:
    signs = "; ".join(SIGNS.values())
    yield Step(
        text=f"Look for signs: {signs}. Any of these: stop. Switch it off, do not charge "
        "or open it, hand it to trained staff.",
        blanks=("Signs seen",),
    )
    yield from _of_kinds(matters, {pack.pack_id for pack in renewed})


def _inside(
    renewed: Sequence[FittedPack], memory: PartAdvice, drives: PartAdvice
) -> Iterator[Step]:
    for pack in renewed[:MOST_PACKS]:
        yield Step(
            text=f"Pack in slot {clipped(pack.slot, 20)}: compare both labels, then "
            "change it.",
            work="pack",
            blanks=(_old_serial(pack), "New serial", "Wear found, %"),
        )
    if memory.step:
        yield Step(text=memory.step, work="memory")
    if drives.step:
        yield Step(text=drives.step, work="drive")
    yield Step(text="Clean the fan, its vents and the dust inside.", work="cleaned")
    yield Step(text="Tighten the hinge screws; look for cracks.", work="hinges")
    if renewed:
        yield Step(
            text="Keep the old pack's cable until the new one has its own.",
            work="cable",
        )


def _old_serial(pack: FittedPack) -> str:
    return (
        f"Old serial (reported {clipped(pack.serial, 20)})"
        if pack.serial
        else "Old serial"
    )


def _of_kinds(
    matters: Sequence[Matter], renewed: AbstractSet[int | None]
) -> Iterator[Step]:
    kinds = {matter.kind for matter in matters}
    # A pack that goes, or that is to be looked at, is not run down and charged first.
    looked_at = {matter.pack_id for matter in matters if matter.kind in SAID_BY_DROP}
    if any(
        matter.kind == "gauge-doubt" and matter.pack_id not in renewed | looked_at
        for matter in matters
    ):
        yield Step(
            text="Gauge: run it down to about a third, charge it full, leave it rested."
        )
    if kinds & {"wrong-pack", "identity-clash", "swap-to-confirm"}:
        yield Step(
            text="Read the pack's label and compare it with what the laptop's page says.",
            blanks=("Label says",),
        )
    if "silent" in kinds:
        yield Step(text="See that the agent runs: fadewatch-agent status.")


def _checks(renewed: Sequence[FittedPack], *, opens: bool) -> Iterator[Step]:
    if opens:
        yield Step(text="No screw is left over; it starts, and it charges on mains.")
    if not renewed:
        yield Step(text="Bench check: fadewatch-agent bench.", blanks=("Says",))
        return
    yield Step(
        text="Bench check: fadewatch-agent bench --new-pack. A new pack shows no wear "
        "and charges; it often arrives nearly empty, 30 % or less is normal.",
        blanks=("Says",),
    )
    yield Step(
        text="Old pack labelled and set aside. Confirm the swap on its alert, and say "
        "whether the old pack was swollen."
    )
