"""What has to be ordered: pack types, and when two descriptions may be of one."""

from collections.abc import Sequence
from dataclasses import dataclass

from fadewatch_collector.errors import InvalidRequest
from fadewatch_common.placeholders import is_placeholder
from fadewatch_common.report import Unit

SAME_CAPACITY = 0.02
"""Design capacities of one type differ by so much at most, as a part. Own choice: gauges
round to 10 mWh or 1 %, and the smallest step between packs on sale is some 5 %."""

SAME_VOLTAGE = 0.05
"""Design voltages of one type differ by so much at most, as a part. Own choice: 3.7 and
3.85 V a cell are both in use for one pack, a cell more in series is 20 % or more."""

_LONGEST_FIGURE = len(str(2**31 - 1))
"""Digits of the largest capacity or voltage that a report holds."""

_UNIT_WORDS = {"mWh": "Wh", "mAh": "mAh"}
_MILLI = 1000


@dataclass(frozen=True, slots=True)
class Described:
    """What a pack says of itself; None is what its gauge leaves out."""

    maker: str | None
    model: str | None
    unit: Unit
    design_capacity: int | None
    design_voltage_mv: int | None
    chemistry: str | None


@dataclass(frozen=True, slots=True)
class PackType:
    """A type of pack as it is ordered.

    Parameters
    ----------
    unit
        Of ``design_capacity``, as the packs report it: nothing is converted.
    doubts
        Why someone should read the label before ordering; empty when nothing speaks
        against it.
    """

    maker: str | None
    model: str | None
    unit: Unit
    design_capacity: int | None
    design_voltage_mv: int | None
    chemistry: str | None
    doubts: tuple[str, ...] = ()

    @property
    def is_certain(self) -> bool:
        """Say whether it can be ordered without a look at a label."""
        return not self.doubts

    @property
    def key(self) -> str:
        """Return the text that stands for the type, for :func:`type_of_key`."""
        known = (self.maker, self.model, self.unit)
        figures = (self.design_capacity, self.design_voltage_mv)
        return "|".join(
            [_escaped(part or "") for part in known]
            + ["" if figure is None else str(figure) for figure in figures]
        )

    @property
    def label(self) -> str:
        """Return the type in words: ``Maker Model, 57.0 Wh, 11.4 V, Li-ion``."""
        parts = (self.name, self.capacity_words, self.voltage_words, self.chemistry)
        return ", ".join(part for part in parts if part)

    @property
    def name(self) -> str:
        """Return maker and model."""
        known = [part for part in (self.maker, self.model) if part]
        return " ".join(known) or "pack without a name"

    @property
    def capacity_words(self) -> str | None:
        """Return the design capacity in its own unit."""
        if self.design_capacity is None or self.unit not in _UNIT_WORDS:
            return None
        if self.unit == "mWh":
            return f"{self.design_capacity / _MILLI:.1f} Wh"
        return f"{self.design_capacity} mAh"

    @property
    def voltage_words(self) -> str | None:
        """Return the design voltage."""
        if self.design_voltage_mv is None:
            return None
        return f"{self.design_voltage_mv / _MILLI:.1f} V"


def pool_name(maker: str | None, model: str | None) -> str:
    """Return the name under which packs pool their fade; empty is unknown."""
    return f"{maker or ''}|{model}" if model else ""


def type_of_key(key: str) -> PackType:
    """Return the type that a key stands for; chemistry and doubts are not in it.

    Raises
    ------
    InvalidRequest
        The text is no key.
    """
    try:
        maker, model, unit, capacity, voltage = key.split("|")
        return PackType(
            _unescaped(maker) or None,
            _unescaped(model) or None,
            _unit(unit),
            _figure(capacity),
            _figure(voltage),
            None,
        )
    except ValueError as error:
        raise InvalidRequest(
            "a pack type's key is maker|model|unit|design capacity|design voltage, as "
            "the order list gives it"
        ) from error


def same_type(key: str, types: Sequence[PackType]) -> int | None:
    """Return the place of the type that a key stands for; None when there is none.

    A fleet's commonest figures move a little over the years: a key that was given
    before still finds its type.
    """
    known = [kind.key for kind in types]
    if key in known:
        return known.index(key)
    asked = type_of_key(key)
    near = [
        (_distance(asked, kind), place)
        for place, kind in enumerate(types)
        if is_same(asked, kind)
    ]
    return min(near)[1] if near else None


def _escaped(part: str) -> str:
    return part.replace("%", "%25").replace("|", "%7C")


def _unescaped(part: str) -> str:
    return part.replace("%7C", "|").replace("%25", "%")


def _figure(text: str) -> int | None:
    if not text:
        return None
    # No report holds more; a number of hundreds of digits breaks what compares it.
    if not (text.isascii() and text.isdigit()) or len(text) > _LONGEST_FIGURE:
        raise ValueError(text)
    return int(text)


def _unit(text: str) -> Unit:
    for unit in ("mWh", "mAh", "relative"):
        if text == unit:
            return unit
    raise ValueError(text)


def name_key(name: str | None) -> str:
    """Return a maker's or model's name as it is compared; empty is unknown."""
    return "" if is_placeholder(name) else " ".join((name or "").split()).casefold()


def has_capacity(said: Described | PackType) -> bool:
    """Say whether a design capacity is known, in a unit."""
    return said.unit != "relative" and bool(said.design_capacity)


def is_same(one: Described | PackType, other: Described | PackType) -> bool:
    """Say whether both may be of one type: what is not known differs from nothing."""
    names = [(name_key(side.maker), name_key(side.model)) for side in (one, other)]
    if names[0] != names[1]:
        return False
    if not _is_near(one.design_voltage_mv, other.design_voltage_mv, SAME_VOLTAGE):
        return False
    if not has_capacity(one) or not has_capacity(other):
        return True
    return one.unit == other.unit and _is_near(
        one.design_capacity, other.design_capacity, SAME_CAPACITY
    )


def _is_near(one: int | None, other: int | None, part: float) -> bool:
    return not one or not other or abs(one - other) <= part * max(one, other)


def _distance(asked: PackType, kind: PackType) -> tuple[bool, int, int]:
    return (
        has_capacity(asked) != has_capacity(kind),
        abs((asked.design_capacity or 0) - (kind.design_capacity or 0)),
        abs((asked.design_voltage_mv or 0) - (kind.design_voltage_mv or 0)),
    )
