"""Limits that a report's fields carry as ``Annotated`` metadata.

The metadata is our own so that the agent needs no dependency. pydantic, which the
collector uses, asks metadata for a method named ``__get_pydantic_core_schema__``;
answering it takes a plain dict and no import, so one definition serves both sides.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from typing import Annotated, Any, NamedTuple, get_args, get_origin, get_type_hints

type_hints_of = get_type_hints

CoreSchema = dict[str, Any]
"""A pydantic-core schema: a plain dict, so it can be edited without pydantic."""

# Control characters (C0, DEL, C1) have no place in a name or serial; tabs and line
# ends come through raw from firmware and are replaced by the reader. Surrogates
# cannot be encoded as UTF-8 at all.
_UNPRINTABLE = r"[\x00-\x1f\x7f-\x9f]"
PRINTABLE_PATTERN = r"^[^\x00-\x1f\x7f-\x9f]*$"
_UNPRINTABLE_RE = re.compile(_UNPRINTABLE + "|[\ud800-\udfff]")


class Text(NamedTuple):
    """A string of ``min_length`` to ``max_length`` printable characters."""

    max_length: int
    min_length: int = 0

    def problem(self, value: object) -> str | None:
        """Say what is wrong with the value, or None."""
        if not isinstance(value, str):
            return "is not text"
        if len(value) > self.max_length:
            return f"is longer than {self.max_length} characters"
        if len(value) < self.min_length:
            return f"is shorter than {self.min_length} characters"
        if _UNPRINTABLE_RE.search(value):
            return "holds unprintable characters"
        return None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: Callable[[Any], CoreSchema]
    ) -> CoreSchema:
        """Add the limits to pydantic's schema of the annotated string."""
        return handler(source) | {
            "min_length": self.min_length,
            "max_length": self.max_length,
            "pattern": PRINTABLE_PATTERN,
        }


class Between(NamedTuple):
    """A number from ``low`` to ``high``, both included."""

    low: float
    high: float

    def problem(self, value: object) -> str | None:
        """Say what is wrong with the value, or None."""
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return "is not a number"
        # Written so that NaN, which no comparison holds for, is a problem too.
        if not self.low <= value <= self.high:
            return f"is not between {self.low} and {self.high}"
        return None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: Callable[[Any], CoreSchema]
    ) -> CoreSchema:
        """Add the limits to pydantic's schema of the annotated number."""
        schema = handler(source) | {"ge": self.low, "le": self.high}
        if schema["type"] == "float":
            schema["allow_inf_nan"] = False
        return schema


class AtMost(NamedTuple):
    """A tuple of at most ``most`` items."""

    most: int

    def problem(self, value: object) -> str | None:
        """Say what is wrong with the value, or None."""
        if not isinstance(value, tuple):
            return "is not a list"
        if len(value) > self.most:
            return f"has more than {self.most} items"
        return None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: Callable[[Any], CoreSchema]
    ) -> CoreSchema:
        """Add the limit to pydantic's schema of the annotated tuple."""
        return handler(source) | {"max_length": self.most}


class OneOf(NamedTuple):
    """One of a few fixed words (or the one schema number)."""

    choices: tuple[str | int, ...]

    def problem(self, value: object) -> str | None:
        """Say what is wrong with the value, or None."""
        if isinstance(value, bool) or value not in self.choices:
            return "is not one of " + ", ".join(map(str, self.choices))
        return None


class Aware(NamedTuple):
    """A moment with its offset from UTC (RFC 3339), in the years given."""

    first_year: int = 1970
    last_year: int = 2199

    def problem(self, value: object) -> str | None:
        """Say what is wrong with the value, or None."""
        if not isinstance(value, datetime) or value.utcoffset() is None:
            return "is not a moment with an offset from UTC"
        try:
            year = value.astimezone(UTC).year
        except OverflowError:
            year = 0
        if not self.first_year <= year <= self.last_year:
            return f"is outside the years {self.first_year} to {self.last_year}"
        return None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: Callable[[Any], CoreSchema]
    ) -> CoreSchema:
        """Ask pydantic for an aware datetime and check the year afterwards."""

        def check(value: datetime) -> datetime:
            if problem := self.problem(value):
                raise ValueError(problem)
            return value

        return {
            "type": "function-after",
            "function": {"type": "no-info", "function": check},
            "schema": handler(source) | {"tz_constraint": "aware"},
        }


Bound = Text | Between | AtMost | OneOf | Aware


def problems(value: object, path: str = "report") -> Iterator[str]:
    """Yield a sentence for each field of a dataclass that breaks its bounds.

    Parameters
    ----------
    value
        An instance of one of the report's dataclasses.
    path
        What to call it in the sentences.
    """
    if not is_dataclass(value) or isinstance(value, type):
        yield f"{path} is not a record"
        return
    hints = type_hints_of(type(value), include_extras=True)
    for field in fields(value):
        name = f"{path}.{field.name}"
        yield from _field_problems(getattr(value, field.name), hints[field.name], name)


def _field_problems(value: object, hint: Any, path: str) -> Iterator[str]:
    bounds, plain, optional = _unwrap(hint)
    if value is None:
        if not optional:
            yield f"{path} is missing"
        return
    for bound in bounds:
        if problem := bound.problem(value):
            yield f"{path} {problem}"
            return
    if isinstance(value, tuple):
        inner = get_args(plain)[0] if get_args(plain) else object
        for index, item in enumerate(value):
            yield from _field_problems(item, inner, f"{path}[{index}]")
    elif isinstance(plain, type) and not _is_a(value, plain):
        yield f"{path} is not a {plain.__name__}"
    elif is_dataclass(plain):
        yield from problems(value, path)


def _is_a(value: object, kind: type) -> bool:
    if isinstance(value, bool):
        return kind is bool
    if isinstance(value, datetime):
        return kind is not date
    # JSON knows one kind of number: a whole one is a fraction too.
    return isinstance(value, (int, float) if kind is float else kind)


def _unwrap(hint: Any) -> tuple[tuple[Bound, ...], Any, bool]:
    """Split a hint into its bounds, the bare type, and whether None is allowed."""
    args = get_args(hint)
    if type(None) in args:
        (inner,) = (arg for arg in args if arg is not type(None))
        bounds, plain, _ = _unwrap(inner)
        return bounds, plain, True
    if get_origin(hint) is Annotated:
        bounds, plain, optional = _unwrap(args[0])
        return (*bounds, *(m for m in hint.__metadata__)), plain, optional
    return (), hint, False
