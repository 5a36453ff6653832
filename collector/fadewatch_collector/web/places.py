"""Places: asset tag, holder and site by laptop serial, from a CSV file."""

import asyncio
import hashlib
import io

from aiohttp import web

from fadewatch_collector.errors import ChangedMeanwhile, Conflict, InvalidRequest
from fadewatch_collector.rules.places import FIELDS, KEY, ImportPlan
from fadewatch_collector.usecases import places
from fadewatch_collector.web.acting import (
    NOTHING_REFUSED,
    Refused,
    go_to,
    read_act,
    refused,
    require,
)
from fadewatch_collector.web.first_start import first_start
from fadewatch_collector.web.history import place_words
from fadewatch_collector.web.keys import SERVICES
from fadewatch_collector.web.numbers import number_of
from fadewatch_collector.web.render import page
from fadewatch_collector.web.upload import (
    FILE_BYTES,
    PACKED_BYTES,
    packed,
    read_file,
    unpacked,
)

PLACES = "/places"
DRY_RUN = PLACES + "/dry-run"
IMPORT = PLACES + "/import"
UNDO = PLACES + "/undo"

LINES_SHOWN = 200
"""Lines of each sort shown of a dry run; the rest is counted. Own choice."""

_MAY = "import places"


async def show_places(request: web.Request) -> web.Response:
    """Show the form, and what was imported before."""
    require(request, "technician", _MAY)
    return await _show(request)


async def _show(
    request: web.Request, problem: Refused = NOTHING_REFUSED
) -> web.Response:
    imports = await places.list_imports(request.app[SERVICES])
    return page(
        request,
        "places.html",
        status=problem.status,
        imports=imports,
        **await first_start(request, nothing_shown=not imports),
        last=next((one for one in imports if one.undone_at is None), None),
        key=KEY,
        fields=FIELDS,
        megabytes=FILE_BYTES // 2**20,
        problem=problem,
    )


async def dry_run(request: web.Request) -> web.Response:
    """Say what a file would change; nothing is changed."""
    require(request, "technician", _MAY)
    try:
        content = await read_file(request, "file")
        return await _plan(request, content)
    except InvalidRequest as error:
        return await _show(request, refused("file", error, {}))


async def _plan(
    request: web.Request, content: bytes, *, changed: bool = False
) -> web.Response:
    operator = require(request, "technician", _MAY)
    plan = await places.import_places(
        request.app[SERVICES], lines_of(content), operator.name, dry_run=True
    )
    return page(
        request,
        "places_plan.html",
        status=409 if changed else 200,
        plan=plan,
        shown=LINES_SHOWN,
        place_words=place_words,
        content=await asyncio.to_thread(packed, content),
        seen=_digest(plan),
        changed=changed,
    )


async def import_now(request: web.Request) -> web.Response:
    """Import a file whose dry run was shown; shown again when it differs by now."""
    act = await read_act(request, "technician", _MAY, most_bytes=PACKED_BYTES)
    services = request.app[SERVICES]
    try:
        content = await asyncio.to_thread(unpacked, act.form.get("content", ""))
        lines = lines_of(content)
        plan = await places.import_places(
            services, lines, act.operator.name, dry_run=True
        )
        if _digest(plan) != act.form.get("seen") or plan.problems:
            return await _plan(request, content, changed=True)
        await places.import_places(services, lines, act.operator.name, dry_run=False)
    except InvalidRequest as error:
        return await _show(request, refused("file", error, {}))
    return go_to(f"{PLACES}?done=imported")


async def undo(request: web.Request) -> web.Response:
    """Undo the import that the person saw as the last one."""
    act = await read_act(request, "technician", _MAY)
    try:
        await places.undo_last_import(
            request.app[SERVICES],
            act.operator.name,
            expected=number_of(act.form, "import"),
        )
    except (ChangedMeanwhile, Conflict, InvalidRequest) as error:
        return await _show(request, refused("undo", error, act.form))
    return go_to(f"{PLACES}?done=undone")


def lines_of(content: bytes) -> list[str]:
    """Return the lines of a file that was sent.

    Raises
    ------
    InvalidRequest
        It is not UTF-8.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InvalidRequest("the file is not UTF-8: save it as 'CSV UTF-8'") from error
    return list(io.StringIO(text, newline=""))


def _digest(plan: ImportPlan) -> str:
    """Return what stands for a plan: another one has another digest."""
    said = repr((plan.changes, plan.unchanged, len(plan.unmatched), plan.problems))
    return hashlib.sha256(said.encode("utf-8", "replace")).hexdigest()
