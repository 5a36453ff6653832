"""Reports to and from JSON, with the standard library alone."""

import json
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime

from fadewatch_common.report import Report

_AS_THEY_ARE = frozenset({str, int, float, bool, type(None)})


def to_plain(value: object) -> object:
    """Turn a report (or a part of it) into dicts, lists, text and numbers.

    None is left out: unknown is absent on the wire.
    """
    kind = type(value)
    if kind in _AS_THEY_ARE:
        return value
    if is_dataclass(kind):
        return {
            field.name: to_plain(item)
            for field in fields(kind)
            if (item := getattr(value, field.name)) is not None
        }
    if isinstance(value, tuple):
        return [to_plain(item) for item in value]
    if isinstance(value, datetime):
        return format_moment(value)
    if isinstance(value, date):
        return value.isoformat()
    return value


def format_moment(moment: datetime) -> str:
    """Write a moment in UTC as RFC 3339 with a Z, to the microsecond at most."""
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")


def to_json(report: Report) -> str:
    """Write one report as compact JSON."""
    return json.dumps(to_plain(report), ensure_ascii=False, separators=(",", ":"))
