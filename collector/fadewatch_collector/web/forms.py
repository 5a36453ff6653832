"""Forms: reading them, and refusing those that our own pages did not send."""

from urllib.parse import parse_qsl, urlsplit

from aiohttp import web

from fadewatch_collector.edge.asked import asked
from fadewatch_collector.errors import InvalidRequest, NotSignedIn
from fadewatch_collector.web.keys import SERVICES, SESSION, SIGNING

TOKEN_FIELD = "form_token"  # noqa: S105 -- the name of a field, not a secret

FORM_BYTES = 16 * 1024
"""Largest form taken [bytes]; ours have a few short fields. Own choice."""

FORM_FIELDS = 20
"""Most fields of a form [count]. Own choice."""

_FORM_TYPE = "application/x-www-form-urlencoded"
_NOT_OURS = (
    "this form was not sent from a page that is open in this browser; open the page "
    "again and repeat it"
)


async def read_form(
    request: web.Request,
    bound_to: str | None,
    *,
    hides_origin: bool = False,
    most_bytes: int = FORM_BYTES,
    most_fields: int = FORM_FIELDS,
) -> dict[str, str]:
    """Read a form that one of our own pages has sent.

    Parameters
    ----------
    bound_to
        The session or visit that the form's token must belong to; a session that
        the browser has goes first.
    hides_origin
        The page asks the browser to send no referrer, which blanks the origin too.
    most_bytes
        Largest form taken [bytes].
    most_fields
        Most fields taken [count].

    Raises
    ------
    InvalidRequest
        It is not a form, or too large.
    NotSignedIn
        It comes from another site, or without the right token.
    """
    refuse_other_sites(request, hides_origin=hides_origin)
    form = await _fields(request, most_bytes, most_fields)
    refuse_wrong_token(request, form.pop(TOKEN_FIELD, ""), bound_to)
    return form


def refuse_wrong_token(request: web.Request, token: str, bound_to: str | None) -> None:
    """Refuse a form that does not carry the token of its session or visit."""
    bound_to = request.get(SESSION, bound_to)
    if bound_to is None or not request.app[SIGNING].is_form_token(token, bound_to):
        raise NotSignedIn(_NOT_OURS)


async def _fields(
    request: web.Request, most_bytes: int, most_fields: int
) -> dict[str, str]:
    if request.content_type != _FORM_TYPE:
        raise InvalidRequest("this address takes a form only")
    body = bytearray()
    async for piece in request.content.iter_any():
        body += piece
        if len(body) > most_bytes:
            raise InvalidRequest("the form is too large")
    try:
        pairs = parse_qsl(
            body.decode("utf-8", "replace"),
            keep_blank_values=True,
            max_num_fields=most_fields,
        )
    except ValueError as error:
        raise InvalidRequest("the form has too many fields") from error
    return dict(pairs)


def refuse_other_sites(request: web.Request, *, hides_origin: bool = False) -> None:
    """Refuse what the browser says comes from another site.

    Browsers leave both headers out in places (plain http, old versions); the form's
    token then stands alone.
    """
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None and site != "same-origin":
        raise NotSignedIn(_NOT_OURS)
    origin = request.headers.get("Origin")
    if hides_origin and origin == "null":
        return
    if origin is not None and origin not in _own_origins(request):
        raise NotSignedIn(_NOT_OURS)


def _own_origins(request: web.Request) -> set[str]:
    by = asked(request)
    own = {f"{by.scheme}://{by.host}"}
    public_url = request.app[SERVICES].settings.public_url
    if public_url:
        parts = urlsplit(public_url)
        own.add(f"{parts.scheme}://{parts.netloc}")
    return own
