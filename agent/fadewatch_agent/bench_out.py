"""A bench check as text for a terminal of 80 columns, and as JSON."""

import textwrap
from collections.abc import Iterator
from typing import Any

from fadewatch_agent.bench import Bench
from fadewatch_common.bench.remark import Remark
from fadewatch_common.bench.verdict import VERDICT_WORDS
from fadewatch_common.bench.words import day, years
from fadewatch_common.cautions import (
    BEFORE_OPENING,
    FIGURES_ARE_A_PROXY,
    IF_A_SIGN_IS_SEEN,
    STOP_USE_CAUTIONS,
)
from fadewatch_common.encoding import format_moment, to_plain
from fadewatch_common.signs import SIGNS

WIDTH = 79
_INDENT = 10
EXIT_CODES = {"ready": 0, "ready-with-remarks": 10, "not-ready": 20}


def exit_code(done: Bench) -> int:
    """Return the exit code of a check."""
    return EXIT_CODES[done.check.verdict]


def bench_text(done: Bench) -> str:
    """Write a check as text, the verdict first."""
    lines = [*_head(done), ""]
    for head, remarks in _parts(done):
        if remarks:
            lines += [head, *_remarks(remarks), ""]
    lines += [*_inspection(done), "", *_basis(done)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _parts(done: Bench) -> Iterator[tuple[str, list[Remark]]]:
    notes = done.check.of("note")
    yield "Stands in the way", list(done.check.of("stops"))
    yield "Remarks", list(done.check.of("remark"))
    yield "Found in order", [one for one in notes if one.kind != "reading"]
    yield "Not read, or doubtful", [one for one in notes if one.kind == "reading"]


def _head(done: Bench) -> Iterator[str]:
    report = done.report
    stops = len(done.check.of("stops"))
    tail = f": {stops} {'thing stands' if stops == 1 else 'things stand'} in the way"
    yield VERDICT_WORDS[done.check.verdict] + (tail if stops else "")
    laptop = report.laptop
    name = " ".join(filter(None, (laptop.maker, laptop.model))) or "Laptop"
    asked = f"{years(done.check.service_years)} of service"
    if done.is_new_pack:
        asked += ", after a change of pack"
    yield f"{name}, serial {laptop.serial or 'not known'}"
    yield f"checked {report.measured_at:%Y-%m-%d %H:%M} UTC for {asked}"


def _remarks(remarks: list[Remark]) -> Iterator[str]:
    for remark in remarks:
        label = remark.slot or ("laptop" if remark.kind != "memory" else "memory")
        label = "drive" if remark.kind == "drive" else label
        yield from _labelled(label, remark.sentence)


def _labelled(label: str, sentence: str) -> list[str]:
    first = f"  {label:<{_INDENT - 4}}  "
    if len(first) > _INDENT:
        return [f"  {label}", *_wrapped(sentence, " " * _INDENT)]
    return textwrap.wrap(
        sentence, WIDTH, initial_indent=first, subsequent_indent=" " * _INDENT
    )


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _inspection(done: Bench) -> Iterator[str]:
    yield "Look at the laptop itself, as no figure shows swelling. Is it so that"
    yield from (f"  -  {sign}?" for sign in SIGNS.values())
    if done.check.look_first:
        yield "Look for these before anything else. If you see one:"
        for caution in STOP_USE_CAUTIONS:
            yield from _wrapped(caution, "     ")
    else:
        yield from _wrapped(IF_A_SIGN_IS_SEEN, "")
    if done.check.of("stops"):
        yield from _wrapped(BEFORE_OPENING, "")


def _basis(done: Bench) -> Iterator[str]:
    found = done.basis
    said = {
        "asked": "the collector, asked just now",
        "kept": f"the collector, kept since {day(found.figures.as_of)}",
        "built-in": "the defaults of this program",
    }[found.source]
    why = f" ({found.why_not_asked})" if found.why_not_asked else ""
    yield from _wrapped(f"Policy and figures: {said}{why}.", "")
    if done.not_kept:
        yield from _wrapped(
            f"Which packs were seen is not kept for the next check: {done.not_kept}.",
            "",
        )
    yield from _wrapped(FIGURES_ARE_A_PROXY, "")


def bench_json(done: Bench) -> dict[str, Any]:
    """Return a check as plain values for JSON."""
    report, found = done.report, done.basis
    return {
        "verdict": done.check.verdict,
        "exit_code": exit_code(done),
        "service_years": done.check.service_years,
        "new_pack": done.is_new_pack,
        "checked_at": format_moment(report.measured_at),
        "laptop": to_plain(report.laptop),
        "figures_from": {
            "source": found.source,
            "as_of": found.figures.as_of.isoformat(),
            "why_not_asked": found.why_not_asked,
        },
        "remarks": [remark_json(one) for one in done.check.remarks],
        "not_kept": done.not_kept,
        "look_first": done.check.look_first,
        "signs": list(SIGNS.values()),
        "cautions": list(STOP_USE_CAUTIONS),
        "figures_are_a_proxy": FIGURES_ARE_A_PROXY,
    }


def remark_json(remark: Remark) -> dict[str, Any]:
    """Return a remark as plain values; its slot is null when it is of the laptop."""
    return {
        "kind": remark.kind,
        "severity": remark.severity,
        "slot": remark.slot,
        "sentence": remark.sentence,
        "figures": dict(remark.figures),
    }
