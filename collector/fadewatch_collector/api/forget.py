"""Forget a laptop or a holder, and take home what is held about a laptop."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from aiohttp import web
from pydantic import TypeAdapter

from fadewatch_collector.api.bodies import read_model
from fadewatch_collector.api.downloads import send_pieces
from fadewatch_collector.api.fields import NOTHING_ELSE
from fadewatch_collector.api.keys import OPERATOR, SERVICES
from fadewatch_collector.api.paths import number_in
from fadewatch_collector.api.queries import query_of
from fadewatch_collector.api.replies import reply
from fadewatch_collector.usecases import forget
from fadewatch_collector.usecases.laptop_export import stream_laptop_export

BODY_BYTES = 4096
"""Largest body that names a holder [bytes]. Own choice."""

JSON_TYPE = "application/json"


@dataclass(frozen=True, slots=True, kw_only=True)
class ForgetQuery:
    """Whether only to say what would go."""

    __pydantic_config__ = NOTHING_ELSE

    dry_run: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HolderName:
    """Whose name is to be blanked."""

    __pydantic_config__ = NOTHING_ELSE

    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ForgottenAnswer:
    """What was forgotten, or would be: rows or values by table or place.

    Attributes
    ----------
    done
        False in a dry run.
    cut_off
        Rows about packs that stay, without the laptop.
    stays
        Values that are left as they are: of operators, or reported by laptops.
    left
        What a search afterwards found; anything in it is a fault.
    not_searched
        Sentences on names that were not searched for, and why.
    """

    what: str
    done: bool
    deleted: Mapping[str, int]
    cut_off: Mapping[str, int]
    blanked: Mapping[str, int]
    stays: Mapping[str, int]
    left: Mapping[str, int]
    not_searched: Sequence[str]


_FORGOTTEN = TypeAdapter(ForgottenAnswer)
_HOLDER = TypeAdapter(HolderName)


async def forget_laptop(request: web.Request) -> web.Response:
    """Delete what is held about a laptop."""
    told = await forget.forget_laptop(
        request.app[SERVICES],
        number_in(request, "laptop_id", "laptop"),
        request[OPERATOR].name,
        dry_run=query_of(request, ForgetQuery).dry_run,
    )
    return _answer(told)


async def forget_holder(request: web.Request) -> web.Response:
    """Blank a holder's name wherever it stands."""
    body = await read_model(request, _HOLDER, BODY_BYTES)
    told = await forget.forget_holder(
        request.app[SERVICES],
        body.name,
        request[OPERATOR].name,
        dry_run=query_of(request, ForgetQuery).dry_run,
    )
    return _answer(told)


def _answer(told: forget.Forgotten) -> web.Response:
    return reply(_FORGOTTEN, ForgottenAnswer(**told.to_plain()))


async def send_laptop(request: web.Request) -> web.StreamResponse:
    """Answer with everything that is held about a laptop."""
    number = number_in(request, "laptop_id", "laptop")
    pieces = stream_laptop_export(request.app[SERVICES], number)
    return await send_pieces(request, f"laptop-{number}", pieces, JSON_TYPE, "json")
