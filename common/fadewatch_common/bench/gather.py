"""Put a reading and what is known from before together."""

from collections.abc import Sequence
from datetime import date

from fadewatch_common.bench.facts import (
    PUBLISHED,
    BenchFigures,
    BenchReading,
    LaptopFacts,
    PackFacts,
    SlotFigures,
    TypeFade,
    TypicalFade,
)
from fadewatch_common.bench.sameness import is_same_pack
from fadewatch_common.report import Pack


def gather(
    reading: BenchReading,
    figures: BenchFigures,
    *,
    today: date,
    seen: Sequence[SlotFigures] = (),
    service_years: float | None = None,
    is_new_pack: bool = False,
) -> LaptopFacts:
    """Return the facts of a laptop.

    Parameters
    ----------
    figures
        Of the collector, or the defaults where none can be asked.
    seen
        What the laptop itself saw before; it is used of a slot where the collector's
        figures are not of the pack that is there now.
    service_years
        None: those of the policy.
    """
    told = {slot.slot: slot for slot in figures.slots}
    own = {slot.slot: slot for slot in seen}
    here = {pack.slot for pack in reading.packs}
    before = {**own, **told}
    return LaptopFacts(
        today=today,
        reading=reading,
        packs=tuple(
            _pack(pack, told.get(pack.slot), own.get(pack.slot), figures.fades)
            for pack in reading.packs
        ),
        gone=tuple(before[slot] for slot in sorted(before) if slot not in here),
        matters=figures.matters,
        policy=figures.policy,
        service_years=figures.policy.service_years
        if service_years is None
        else service_years,
        is_new_pack=is_new_pack,
    )


def fade_of(pack: Pack, fades: Sequence[TypeFade]) -> TypicalFade:
    """Return the typical fade of a pack's type, else of the fleet, else published."""
    by_type = {(fade.maker, fade.model): fade.fade for fade in fades}
    own = by_type.get((pack.maker, pack.model)) if pack.model else None
    return own or by_type.get((None, None)) or PUBLISHED


def _pack(
    pack: Pack,
    told: SlotFigures | None,
    own: SlotFigures | None,
    fades: Sequence[TypeFade],
) -> PackFacts:
    fade = fade_of(pack, fades)
    for known in (told, own):
        if known is not None and is_same_pack(known.seen.pack, pack):
            other = own.before if own is not None and known is told else None
            return PackFacts(
                read=pack,
                fade=fade,
                history=known.history,
                last=known.seen,
                since=known.since,
                before=known.before or other,
            )
    known = own or told
    return PackFacts(
        read=pack,
        fade=fade,
        history=None,
        last=None,
        since=None,
        before=None if known is None else known.seen,
    )
