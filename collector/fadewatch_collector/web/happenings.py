"""What happened to a pack on some day, as plots mark it and tables tell it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fadewatch_collector.rules.signs import SIGNS
from fadewatch_collector.usecases.page_views import (
    AssessmentRow,
    Inspection,
    SwapDetail,
)
from fadewatch_collector.web.plot_marks import Mark
from fadewatch_collector.web.words import NOTHING_KNOWN, joined


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened to a pack: its mark in the plot, and a sentence."""

    mark: Mark
    what: str


def assessed(assessment: AssessmentRow | None) -> Iterator[Happening]:
    """Yield the drop and the knee that an assessment has found."""
    details: dict[str, Any] = (assessment and assessment.details) or {}
    if drop := details.get("sudden_drop"):
        day, size = date.fromisoformat(drop["on"]), drop["percent"]
        sure = "" if drop["confirmed"] else "; not borne out by later readings yet"
        name = f"drop {size:.0f} %" + ("" if drop["confirmed"] else "?")
        what = f"Sudden drop: {size:.1f} % of design capacity{sure}."
        yield Happening(Mark(day, name, "drop"), what)
    if knee := details.get("knee"):
        before = knee["before_percent_per_month"]
        after = knee["after_percent_per_month"]
        yield Happening(
            Mark(date.fromisoformat(knee["on"]), "knee", "knee"),
            f"Knee: fade went from {before:.1f} to {after:.1f} % of design a month.",
        )


def of_swaps(pack_id: int, swaps: Sequence[SwapDetail]) -> Iterator[Happening]:
    """Yield the swaps that brought a pack or took it away."""
    for swap in swaps:
        where = f"{swap.hostname or f'laptop {swap.laptop_id}'}, slot {swap.slot}"
        word = _decision(swap)
        if swap.new_pack_id == pack_id:
            other = pack_name(swap.old_maker, swap.old_model, swap.old_serial)
            what = f"Fitted in {where}, in place of {other}; {word}."
            yield Happening(Mark(swap.at.date(), "fitted", "swap"), what)
        if swap.old_pack_id == pack_id:
            other = pack_name(swap.new_maker, swap.new_model, swap.new_serial)
            what = f"Taken out of {where}; {other} took its place; {word}."
            yield Happening(Mark(swap.at.date(), "taken out", "swap"), what)


def of_inspections(inspections: Sequence[Inspection]) -> Iterator[Happening]:
    """Yield a pack's inspections."""
    for one in inspections:
        seen = signs_in_words(one.signs)
        day = one.at.date()
        if seen:
            mark, found = Mark(day, "signs seen", "signs"), f"signs seen: {seen}"
        else:
            mark, found = Mark(day, "inspected", "inspection"), "no sign was seen"
        yield Happening(mark, f"Inspected by {one.who}: {found}.")


def signs_in_words(signs: Sequence[str]) -> str:
    """Join signs; one that is not known any more stands as it was kept."""
    return "; ".join(SIGNS.get(sign, sign) for sign in signs)


def pack_name(maker: str | None, model: str | None, serial: str | None) -> str:
    """Name a pack by what it says of itself."""
    name = joined(maker, model)
    if name == NOTHING_KNOWN:
        name = "an unnamed pack"
    return f"{name}, serial {serial}" if serial else name


def _decision(swap: SwapDetail) -> str:
    if swap.state == "to confirm":
        return "nobody has confirmed the swap yet"
    return f"the swap was {swap.state} by {swap.decided_by}"
