"""The fleet view as CSV files: shares, what is expected, held forecasts, types."""

from collections.abc import AsyncGenerator, Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from operator import attrgetter
from typing import Literal

from fadewatch_collector.rules.fleet_outlook import ExpectedGroup
from fadewatch_collector.rules.fleet_shares import Share
from fadewatch_collector.usecases.csv_cells import (
    Column,
    csv_lines,
    day_cells,
    header_line,
    number_cells,
    percent_cells,
    rate_cells,
    text_cells,
)
from fadewatch_collector.usecases.fleet_view import FleetView, fleet_view
from fadewatch_collector.usecases.services import Services

FleetFile = Literal[
    "fleet-shares", "fleet-months", "fleet-quarter", "held-forecasts", "fleet-types"
]

_YES_NO = {True: '"yes"', False: '"no"', None: ""}


async def stream_fleet_file(
    services: Services, name: FleetFile, *, byte_order_mark: bool = False
) -> AsyncGenerator[bytes]:
    """Yield one of the files; its figures are as of the moment in its first column.

    Parameters
    ----------
    byte_order_mark
        As in the fleet health CSV.
    """
    columns, rows = _FILES[name]
    yield header_line((_AS_OF, *columns), byte_order_mark=byte_order_mark)
    view = await fleet_view(services)
    values = attrgetter(*(column.source for column in columns))
    day = view.made_at.date()
    found = [(day, *values(row)) for row in rows(view)]
    if found:
        yield csv_lines((_AS_OF, *columns), found)


def _decimal_cells(values: Sequence[float | None]) -> list[str]:
    return ["" if number is None else f"{number:z.2f}" for number in values]


def _chance_cells(values: Sequence[float | None]) -> list[str]:
    return ["" if number is None else f"{number:.3g}" for number in values]


def _month_cells(values: Sequence[date]) -> list[str]:
    return [f"{month:%Y-%m}" for month in values]


def _yes_cells(values: Sequence[bool | None]) -> list[str]:
    return [_YES_NO[value] for value in values]


@dataclass(frozen=True, slots=True)
class _Shared:
    """A share with its dimension."""

    dimension: str
    share: Share

    @property
    def parts(self) -> tuple[float, ...]:
        """The parts of its packs that are sound, plan, replace and unknown."""
        one = self.share
        counts = (one.sound, one.plan, one.replace, one.unknown)
        return tuple(count / one.packs for count in counts)


def _shares(view: FleetView) -> list[_Shared]:
    found = [
        ("all", view.whole),
        *(
            (dimension, share)
            for dimension, shares in view.shares.items()
            for share in shares
        ),
    ]
    return [_Shared(dimension, share) for dimension, share in found if share.packs]


@dataclass(frozen=True, slots=True)
class _Ahead:
    """A site or type, with the day up to which it is looked ahead."""

    until: date
    group: ExpectedGroup


def _groups(view: FleetView) -> list[_Ahead]:
    return [_Ahead(view.quarter_end, group) for group in view.groups]


def _part(place: int) -> Callable[[Sequence[tuple[float, ...]]], list[str]]:
    return lambda values: percent_cells([parts[place] for parts in values])


_AS_OF = Column("as_of", "", day_cells)

_SHARES = (
    Column("by", "dimension", text_cells),
    Column("name", "share.name", text_cells),
    Column("pack_type", "share.key", text_cells),
    Column("packs", "share.packs", number_cells),
    Column("sound", "share.sound", number_cells),
    Column("plan", "share.plan", number_cells),
    Column("replace", "share.replace", number_cells),
    Column("unknown", "share.unknown", number_cells),
    Column("sound_percent", "parts", _part(0)),
    Column("plan_percent", "parts", _part(1)),
    Column("replace_percent", "parts", _part(2)),
    Column("unknown_percent", "parts", _part(3)),
    Column("age_from_first_seen", "share.first_seen", number_cells),
)
_MONTHS = (
    Column("threshold", "threshold", text_cells),
    Column("month", "month", _month_cells),
    Column("expected", "expected", _decimal_cells),
    Column("low", "low", number_cells),
    Column("high", "high", number_cells),
    Column("by_then", "by_then", _decimal_cells),
    Column("by_then_low", "by_then_low", number_cells),
    Column("by_then_high", "by_then_high", number_cells),
)
_QUARTER = (
    Column("until", "until", day_cells),
    Column("by", "group.dimension", text_cells),
    Column("name", "group.name", text_cells),
    Column("pack_type", "group.key", text_cells),
    Column("packs", "group.packs", number_cells),
    Column("past_plan_now", "group.past", number_cells),
    Column("expected", "group.expected", _decimal_cells),
    Column("low", "group.low", number_cells),
    Column("high", "group.high", number_cells),
)
_HELD = (
    Column("threshold", "threshold", text_cells),
    Column("lead_time", "lead", text_cells),
    Column("forecasts", "forecasts", number_cells),
    Column("packs", "packs", number_cells),
    Column("open", "open", number_cells),
    Column("earliest_due", "earliest_due", number_cells),
    Column("earliest_passed", "earliest_crossed", number_cells),
    Column("middle_due", "middle_due", number_cells),
    Column("middle_passed", "middle_crossed", number_cells),
    Column("latest_due", "latest_due", number_cells),
    Column("latest_passed", "latest_crossed", number_cells),
    Column("lost", "lost", number_cells),
    Column("before", "before", number_cells),
    Column("within", "within", number_cells),
    Column("after", "after", number_cells),
    Column("waiting", "waiting", number_cells),
    Column("median_error_days", "error_days", _decimal_cells),
    Column("median_error_percent", "error_part", percent_cells),
    Column("error_at_least", "error_at_least", _yes_cells),
)
_TYPES = (
    Column("pack_type", "key", text_cells),
    Column("name", "name", text_cells),
    Column("made", "made", text_cells),
    Column("packs", "packs", number_cells),
    Column("verdict", "verdict", text_cells),
    Column("certainty", "certainty", text_cells),
    Column("comparisons", "comparisons", number_cells),
    Column("fade_percent_per_month", "fade_per_month", rate_cells),
    Column("other_fade_percent_per_month", "other_fade_per_month", rate_cells),
    Column("fade_ratio", "fade_ratio", _decimal_cells),
    Column("fade_ratio_low", "fade_ratio_low", _decimal_cells),
    Column("fade_ratio_high", "fade_ratio_high", _decimal_cells),
    Column("fade_packs", "fade_packs", number_cells),
    Column("other_fade_packs", "other_fade_packs", number_cells),
    Column("same_age", "same_age", _yes_cells),
    Column("fade_p", "fade_p", _chance_cells),
    Column("threshold_percent", "threshold", percent_cells),
    Column("age_from", "lives_axis", text_cells),
    Column("lives_packs", "lives_packs", number_cells),
    Column("passed", "passed", number_cells),
    Column("passed_expected", "expected", _decimal_cells),
    Column("other_lives_packs", "other_lives_packs", number_cells),
    Column("other_passed", "other_passed", number_cells),
    Column("since_years", "since_years", _decimal_cells),
    Column("median_years", "median_years", _decimal_cells),
    Column("median_low_years", "median_low_years", _decimal_cells),
    Column("median_high_years", "median_high_years", _decimal_cells),
    Column("other_median_years", "other_median_years", _decimal_cells),
    Column("at_years", "at_years", _decimal_cells),
    Column("passed_by_then_percent", "gone", percent_cells),
    Column("other_passed_by_then_percent", "other_gone", percent_cells),
    Column("lives_p", "lives_p", _chance_cells),
)

_FILES: Mapping[
    FleetFile, tuple[tuple[Column, ...], Callable[[FleetView], Sequence[object]]]
] = {
    "fleet-shares": (_SHARES, _shares),
    "fleet-months": (_MONTHS, lambda view: view.months),
    "fleet-quarter": (_QUARTER, _groups),
    "held-forecasts": (_HELD, lambda view: view.held),
    "fleet-types": (_TYPES, lambda view: view.types),
}

FLEET_FILES: tuple[FleetFile, ...] = tuple(_FILES)

FLEET_FILE_WORDS: Mapping[FleetFile, str] = {
    "fleet-shares": "shares of packs by band, and by site, age and pack type",
    "fleet-months": "the packs expected to pass each threshold, month by month",
    "fleet-quarter": "what sites and types come to by the end of the quarter",
    "held-forecasts": "how well past forecasts held",
    "fleet-types": "pack types and batches held against the others",
}
"""What each file holds, in words."""

FLEET_FILE_COLUMNS = {
    name: (_AS_OF.name, *(column.name for column in columns))
    for name, (columns, _) in _FILES.items()
}
"""The columns' names of each file, in the file's order."""
