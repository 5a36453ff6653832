"""Places: import asset tag, holder and site by laptop serial, and undo it."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.bodies import read_body
from fadewatch_collector.api.fields import NOTHING_ELSE
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.api.wording import taken
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.places import ImportPlan
from fadewatch_collector.usecases.places import (
    import_places,
    list_imports,
    undo_last_import,
)

CSV = "text/csv"

CSV_BYTES = 4 * 1024 * 1024
"""Largest file [bytes]: some 80,000 laptops. Own choice; the command line takes more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportQuery:
    """Whether only to say what would change."""

    __pydantic_config__ = NOTHING_ELSE

    dry_run: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceChange:
    """What an import changes in one laptop: the file's fields before and after."""

    laptop_id: int
    serial: str
    before: Mapping[str, str | None]
    after: Mapping[str, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnmatchedRow:
    """A row of the file whose serial no laptop has."""

    line: int
    serial: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceOutcome:
    """What an import changed, or would.

    Attributes
    ----------
    imported
        False in a dry run.
    unchanged
        Laptops that have these places already [count].
    problems
        Sentences that name the line; with any of them nothing can be imported.
    """

    imported: bool
    changes: Sequence[PlaceChange]
    unchanged: int
    unmatched: Sequence[UnmatchedRow]
    problems: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceImport:
    """One import; ``changed`` counts laptops."""

    id: int
    at: datetime
    who: str
    changed: int
    undone_at: datetime | None
    undone_by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceImports:
    """The newest imports, newest first."""

    imports: Sequence[PlaceImport]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacesGivenBack:
    """Laptops that have what they had before the import [count]."""

    laptops: int


_OUTCOME = TypeAdapter(PlaceOutcome)
_IMPORTS = TypeAdapter(PlaceImports)
_GIVEN_BACK = TypeAdapter(PlacesGivenBack)


async def take_places(request: web.Request) -> web.Response:
    """Import places from a CSV file, or say what that would change."""
    dry_run = query_of(request, ImportQuery).dry_run
    text = _decoded(await read_body(request, CSV_BYTES, CSV))
    plan = await import_places(
        request.app[SERVICES],
        io.StringIO(text, newline=""),
        request[OPERATOR].name,
        dry_run=dry_run,
    )
    if plan.problems and not dry_run:
        more = len(plan.problems) - 1
        others = f" and {more} more problem{'s' if more > 1 else ''}" if more else ""
        raise InvalidRequest(
            f"{plan.problems[0]}{others}: nothing was imported. Ask with dry_run=true "
            "for all of them."
        )
    return reply(_OUTCOME, _outcome(plan, imported=not dry_run))


async def show_imports(request: web.Request) -> web.Response:
    """Answer with the newest imports."""
    found = await list_imports(request.app[SERVICES])
    imports = [PlaceImport(**taken(PlaceImport, one)) for one in found]
    return reply(_IMPORTS, PlaceImports(imports=imports))


async def undo_import(request: web.Request) -> web.Response:
    """Undo the newest import."""
    number = number_in(request, "import_id", "import")
    who = request[OPERATOR].name
    count = await undo_last_import(request.app[SERVICES], who, expected=number)
    return reply(_GIVEN_BACK, PlacesGivenBack(laptops=count))


def _decoded(body: bytes) -> str:
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise InvalidRequest("the file is not UTF-8: save it as CSV UTF-8") from problem


def _outcome(plan: ImportPlan, *, imported: bool) -> PlaceOutcome:
    return PlaceOutcome(
        imported=imported,
        changes=[PlaceChange(**taken(PlaceChange, one)) for one in plan.changes],
        unchanged=plan.unchanged,
        unmatched=[UnmatchedRow(**taken(UnmatchedRow, one)) for one in plan.unmatched],
        problems=plan.problems,
    )
