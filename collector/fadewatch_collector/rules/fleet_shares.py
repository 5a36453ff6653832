"""Shares of the fleet's packs: by band, and by site, age and type."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Literal

from fadewatch_collector.analysis.figures import Band
from fadewatch_collector.rules.pack_types import Described, PackType
from fadewatch_collector.rules.type_groups import group_types

AgeBasis = Literal["made", "first seen"]
"""What a pack's age is counted from: the day it was made, if its gauge tells it."""

AGE_WORDS = (
    "under 1 year",
    "1 to 2 years",
    "2 to 3 years",
    "3 to 4 years",
    "4 years and more",
)
"""Age classes, youngest first. Own choice: packs are planned for in years."""

Dimension = Literal["site", "age", "type"]
DIMENSIONS: tuple[Dimension, ...] = ("site", "age", "type")

NEED: tuple[Band, ...] = ("replace", "plan", "unknown", "sound")
"""Bands, those first that ask for something to be done."""


@dataclass(frozen=True, slots=True)
class ShareRow:
    """How many packs in slots are alike in all that is counted by."""

    site: str | None
    band: Band
    age_class: int
    basis: AgeBasis
    said: Described
    packs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """How many packs of one site, age or type are in each band.

    Attributes
    ----------
    key
        Of the pack type; the name itself for a site or an age; None: no site is known.
    first_seen
        Packs whose age is counted from the day they were first seen.
    """

    key: str | None
    name: str
    sound: int
    plan: int
    replace: int
    unknown: int
    first_seen: int

    @property
    def packs(self) -> int:
        """Count all packs of it."""
        return self.sound + self.plan + self.replace + self.unknown

    def as_json(self) -> dict[str, Any]:
        """Return plain values ready for JSON."""
        return asdict(self)


NO_SITE = "no site told"
WHOLE = "all packs"


def born_before(today: date) -> list[date]:
    """Return the days that part the age classes, falling: today less 1, 2, 3, 4 years."""
    return [_years_back(today, years) for years in range(1, len(AGE_WORDS))]


def _years_back(day: date, years: int) -> date:
    # 29 February has no anniversary in most years.
    return date(day.year - years, day.month, min(day.day, 28))


def shares(rows: Sequence[ShareRow]) -> Mapping[Dimension, list[Share]]:
    """Add up the rows by each dimension.

    Sites and types come with the most packs to do something about first, ages from the
    youngest.
    """
    counted: Counter[Described] = Counter()
    for row in rows:
        counted[row.said] += row.packs
    grouping = group_types(counted.items())

    def kind(row: ShareRow) -> PackType:
        return grouping.types[grouping.place[row.said]].type

    by_age = _added(rows, lambda row: (f"{row.age_class}", AGE_WORDS[row.age_class]))
    return {
        "site": sorted(
            _added(rows, lambda row: (row.site, row.site or NO_SITE)), key=_by_need
        ),
        "age": sorted(by_age, key=lambda share: share.key or ""),
        "type": sorted(
            _added(rows, lambda row: (kind(row).key, kind(row).label)), key=_by_need
        ),
    }


def whole(rows: Iterable[ShareRow]) -> Share:
    """Add up all rows."""
    added = _added(list(rows), lambda _: (None, WHOLE))
    return added[0] if added else _share((None, WHOLE), Counter(), 0)


def folded(found: Sequence[Share], most: int, others: str) -> list[Share]:
    """Return the first shares, and what is beyond ``most`` as one at the end."""
    if len(found) <= most:
        return list(found)
    rest = found[most - 1 :]
    counts = Counter(
        {
            band: sum(getattr(share, band) for share in rest)
            for band in ("sound", "plan", "replace", "unknown")
        }
    )
    name = f"{len(rest)} {others}"
    first_seen = sum(share.first_seen for share in rest)
    return [*found[: most - 1], _share(("", name), counts, first_seen)]


def _added(
    rows: Sequence[ShareRow], name: Callable[[ShareRow], tuple[str | None, str]]
) -> list[Share]:
    counts: dict[tuple[str | None, str], Counter[str]] = defaultdict(Counter)
    first_seen: Counter[tuple[str | None, str]] = Counter()
    for row in rows:
        counts[name(row)][row.band] += row.packs
        if row.basis == "first seen":
            first_seen[name(row)] += row.packs
    return [_share(key, found, first_seen[key]) for key, found in counts.items()]


def _share(
    name: tuple[str | None, str], counts: Counter[str], first_seen: int
) -> Share:
    return Share(
        key=name[0],
        name=name[1],
        sound=counts["sound"],
        plan=counts["plan"],
        replace=counts["replace"],
        unknown=counts["unknown"],
        first_seen=first_seen,
    )


def _by_need(share: Share) -> tuple[int, int, int, str]:
    return (-share.replace, -share.plan, -share.packs, share.name)
