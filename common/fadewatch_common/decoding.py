"""From plain JSON values back to the dataclasses of this package."""

from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime
from functools import cache
from types import UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from fadewatch_common.errors import FadewatchError

Record = TypeVar("Record")


class UnreadableRecord(FadewatchError, ValueError):
    """A plain value does not have the shape of its record."""

    def __init__(self, where: str, problem: str) -> None:
        super().__init__(f"{where or 'the record'} {problem}")


def from_plain(kind: type[Record], plain: object) -> Record:
    """Build a record from what ``to_plain`` made of it; unknown keys are ignored.

    Types are checked, bounds are not.

    Raises
    ------
    UnreadableRecord
        A value is missing or of another type; the message says where.
    """
    built: Record = _record(kind, plain, "")
    return built


def _record(kind: Any, plain: object, where: str) -> Any:
    if not isinstance(plain, dict):
        raise UnreadableRecord(where, "is no object")
    hints = _hints(kind)
    values = {}
    for field in fields(kind):
        place = f"{where}.{field.name}".lstrip(".")
        if field.name in plain:
            values[field.name] = _value(hints[field.name], plain[field.name], place)
        elif field.default is MISSING and field.default_factory is MISSING:
            # Absent is unknown, where the record allows that.
            values[field.name] = _value(hints[field.name], None, place)
    return kind(**values)


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _value(kind: Any, plain: object, where: str) -> Any:
    origin = get_origin(kind)
    if origin in {Union, UnionType}:
        if plain is None and type(None) in get_args(kind):
            return None
        (kind,) = (one for one in get_args(kind) if one is not type(None))
        return _value(kind, plain, where)
    if origin is tuple:
        return _items(get_args(kind)[0], plain, where)
    if origin is Literal:
        return _allowed(plain, get_args(kind), where)
    if is_dataclass(kind):
        return _record(kind, plain, where)
    read = _moment if kind in {date, datetime} else _plain_one
    return read(kind, plain, where)


def _items(kind: Any, plain: object, where: str) -> tuple[Any, ...]:
    if not isinstance(plain, list):
        raise UnreadableRecord(where, "is no list")
    return tuple(_value(kind, one, f"{where}[{n}]") for n, one in enumerate(plain))


def _allowed(plain: object, allowed: tuple[object, ...], where: str) -> object:
    if plain not in allowed:
        raise UnreadableRecord(where, "is none of the values there are")
    return plain


def _moment(kind: Any, plain: object, where: str) -> Any:
    try:
        return kind.fromisoformat(plain)
    except (TypeError, ValueError) as error:
        raise UnreadableRecord(where, f"is no {kind.__name__}") from error


def _plain_one(kind: Any, plain: object, where: str) -> Any:
    if kind is float and type(plain) is int:
        return float(plain)
    if type(plain) is not kind:
        raise UnreadableRecord(where, f"is no {kind.__name__}")
    return plain
