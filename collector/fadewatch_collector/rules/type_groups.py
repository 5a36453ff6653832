"""Group what the packs of a fleet say of themselves into pack types.

Gauges of one type do not agree to the last figure, and some leave a field out.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from fadewatch_collector.rules.pack_types import (
    Described,
    PackType,
    has_capacity,
    is_same,
    name_key,
)
from fadewatch_common.placeholders import is_placeholder


@dataclass(frozen=True, slots=True)
class TypeCount:
    """A type, with how many of the packs that were grouped are of it."""

    type: PackType
    packs: int


@dataclass(frozen=True, slots=True)
class Grouping:
    """The types of a fleet, and which type each description is of (by place)."""

    types: tuple[TypeCount, ...]
    place: Mapping[Described, int]


@dataclass(slots=True)
class _Group:
    """Descriptions taken for one type; the first is the commonest."""

    rows: list[tuple[Described, int]]

    @property
    def first(self) -> Described:
        return self.rows[0][0]

    @property
    def packs(self) -> int:
        return sum(count for _, count in self.rows)


def group_types(counted: Iterable[tuple[Described, int]]) -> Grouping:
    """Group what the packs of a fleet say of themselves into types.

    Parameters
    ----------
    counted
        Distinct descriptions, each with how many packs give it.

    Notes
    -----
    Within one maker and model, a description joins the commonest one whose unit is the
    same and whose capacity and voltage are as near as ``SAME_CAPACITY`` and
    ``SAME_VOLTAGE``. One that leaves the capacity out joins where only one type is
    possible. The order of ``counted`` does not matter.
    """
    models: dict[tuple[str, str], list[tuple[Described, int]]] = defaultdict(list)
    for row in sorted(counted, key=_rank):
        models[name_key(row[0].maker), name_key(row[0].model)].append(row)
    found = [
        (_as_type(group, others), group)
        for rows in models.values()
        for others in [_grouped(rows)]
        for group in others
    ]
    found.sort(key=lambda one: (_missing_last(one[0]), one[0].key))
    return Grouping(
        tuple(TypeCount(kind, group.packs) for kind, group in found),
        {row: place for place, (_, group) in enumerate(found) for row, _ in group.rows},
    )


def _rank(row: tuple[Described, int]) -> tuple[object, ...]:
    said, count = row
    figures = (said.design_capacity or 0, said.design_voltage_mv or 0)
    names = (said.maker or "", said.model or "", said.chemistry or "")
    # What says most comes first among equals: it is what the others are held against.
    return (not has_capacity(said), -count, said.unit, *figures, *names)


def _grouped(rows: Sequence[tuple[Described, int]]) -> list[_Group]:
    groups: list[_Group] = []
    for row in rows:
        near = [group for group in groups if is_same(row[0], group.first)]
        if not has_capacity(row[0]):
            near = near if len(near) == 1 else []
            near = near or [g for g in groups if not has_capacity(g.first)]
        if near:
            near[0].rows.append(row)
        else:
            groups.append(_Group([row]))
    return groups


def _as_type(group: _Group, others: Sequence[_Group]) -> PackType:
    first = group.first
    said = [row for row, _ in group.rows]
    kind = PackType(
        maker=None if is_placeholder(first.maker) else first.maker,
        model=None if is_placeholder(first.model) else first.model,
        unit=first.unit,
        design_capacity=first.design_capacity if has_capacity(first) else None,
        design_voltage_mv=next(
            (row.design_voltage_mv for row in said if row.design_voltage_mv), None
        ),
        chemistry=next((row.chemistry for row in said if row.chemistry), None),
    )
    return replace(kind, doubts=tuple(_doubts(kind, said, others)))


def _doubts(
    kind: PackType, said: Sequence[Described], others: Sequence[_Group]
) -> Iterable[str]:
    if kind.maker is None:
        yield "The packs do not name their maker."
    if kind.model is None:
        yield "The packs do not name their model."
    if kind.design_capacity is None:
        yield "The design capacity is not known."
    if len(others) > 1 and kind.model is not None:
        words = sorted({_figures(other.first) for other in others})
        yield f"Packs of this model differ in what they report: {'; '.join(words)}."
    chemistries = {row.chemistry for row in said if row.chemistry}
    plain = {"".join(filter(str.isalnum, one)).casefold() for one in chemistries}
    if len(plain) > 1:
        yield f"The packs name different chemistries: {', '.join(sorted(chemistries))}."


def _figures(said: Described) -> str:
    kind = PackType(
        None, None, said.unit, said.design_capacity, said.design_voltage_mv, None
    )
    known = (kind.capacity_words, kind.voltage_words)
    return ", ".join(part for part in known if part) or "no capacity"


def _missing_last(kind: PackType) -> tuple[bool, bool, bool]:
    return (kind.model is None, kind.maker is None, kind.design_capacity is None)
