"""Inspections: a person's answer about physical signs."""

import secrets
from collections.abc import Collection
from datetime import timedelta

from fadewatch_collector.errors import InvalidRequest, NotFound, NotSignedIn
from fadewatch_collector.rules.event_findings import swelling_finding
from fadewatch_collector.rules.notes import note_problem
from fadewatch_collector.rules.operators import Operator
from fadewatch_collector.rules.signs import SIGNS
from fadewatch_collector.store import alert_actions, audit
from fadewatch_collector.store import inspections as rows
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.store.inspections import Asked, Inspection
from fadewatch_collector.store.store import WriteConnection
from fadewatch_collector.usecases.alerts import raise_event
from fadewatch_collector.usecases.enrolment import SECRET_BYTES, digest_of
from fadewatch_collector.usecases.services import Services

LINK_PREFIX = "fwi_"
LINK_LIFETIME = timedelta(days=7)
"""How long a link to the holder works. Own choice."""

HOLDER = "the laptop's holder"
NOTE_LENGTH = 1000


async def inspect(
    services: Services,
    laptop_id: int,
    operator: Operator,
    *,
    signs: Collection[str],
    note: str | None = None,
) -> bool:
    """Keep an operator's inspection; returns whether a sign was reported.

    Raises
    ------
    NotFound
        There is no such laptop.
    InvalidRequest
        A sign that is not one of ours, or a note that is too long.
    """
    note = _checked(signs, note)
    async with services.store.writing() as connection:
        return await _keep(connection, services, laptop_id, operator.name, signs, note)


async def list_inspections(
    services: Services,
    *,
    laptop_id: int | None = None,
    pack_id: int | None = None,
    before: int | None = None,
    limit: int = 100,
) -> list[Inspection]:
    """Return inspections, newest first."""
    async with services.store.reading() as connection:
        return await rows.inspections_before(
            connection,
            laptop_id=laptop_id,
            pack_id=pack_id,
            before=before,
            limit=limit,
        )


def link_path(token: str) -> str:
    """Return the path of the page that a link to the holder opens."""
    return f"/inspect/{token}"


async def ask_holder(services: Services, laptop_id: int, operator: Operator) -> str:
    """Make a link with which the holder answers once, without an account."""
    token = LINK_PREFIX + secrets.token_urlsafe(SECRET_BYTES)
    now = services.clock()
    async with services.store.writing() as connection:
        if await rows.laptop_site(connection, laptop_id) is None:
            raise NotFound("laptop", laptop_id)
        await rows.add_link(
            connection,
            digest=digest_of(token),
            laptop_id=laptop_id,
            who=operator.name,
            now=now,
            expires_at=now + LINK_LIFETIME,
        )
        await audit.note(
            connection, now, operator.name, "holder asked", f"laptop:{laptop_id}"
        )
    return token


async def asked_by(services: Services, token: str) -> Asked:
    """Return which laptop a link asks about.

    Raises
    ------
    NotSignedIn
        The link is unknown, expired or answered.
    """
    async with services.store.reading() as connection:
        asked = await rows.asked_by(connection, digest_of(token), services.clock())
    if asked is None:
        raise NotSignedIn("this link is unknown, expired or answered; ask for another")
    return asked


async def answer_link(
    services: Services,
    token: str,
    *,
    signs: Collection[str],
    note: str | None = None,
) -> bool:
    """Keep the holder's answer; the link works no more.

    Raises
    ------
    NotSignedIn
        The link is unknown, expired or answered.
    InvalidRequest
        A sign that is not one of ours, or a note that is too long.
    """
    note = _checked(signs, note)
    digest, now = digest_of(token), services.clock()
    async with services.store.writing() as connection:
        asked = await rows.asked_by(connection, digest, now)
        if asked is None or not await rows.spend_link(connection, digest, now):
            raise NotSignedIn(
                "this link is unknown, expired or answered; ask for another"
            )
        return await _keep(connection, services, asked.laptop_id, HOLDER, signs, note)


def _checked(signs: Collection[str], note: str | None) -> str | None:
    """Check an answer and return its note; one of blanks only is none."""
    unknown = set(signs) - SIGNS.keys()
    if unknown:
        raise InvalidRequest(f"no such sign: {', '.join(sorted(unknown))[:100]}")
    written = (note or "").strip()
    if written and (problem := note_problem(written, "note", NOTE_LENGTH)):
        raise InvalidRequest(problem)
    return written or None


async def _keep(
    connection: WriteConnection,
    services: Services,
    laptop_id: int,
    who: str,
    signs: Collection[str],
    note: str | None,
) -> bool:
    site = await rows.laptop_site(connection, laptop_id)
    if site is None:
        raise NotFound("laptop", laptop_id)
    now = services.clock()
    seen = [sign for sign in SIGNS if sign in set(signs)]
    packs = await rows.packs_in(connection, laptop_id)
    # A laptop whose pack is not known is still a laptop with a sign on it.
    about = packs or [Subject(laptop_id, None, site[0])]
    for subject in about:
        await rows.add_inspection(
            connection,
            laptop_id=laptop_id,
            pack_id=subject.pack_id,
            at=now,
            who=who,
            signs=seen,
            note=note,
        )
        if seen:
            words = [SIGNS[sign] for sign in seen]
            finding = swelling_finding(words, who[0].upper() + who[1:], now)
            await raise_event(connection, subject, finding, now)
        else:
            await alert_actions.end_alerts_of(
                connection,
                subject.name,
                "inspected, no sign was seen",
                who,
                now,
                kinds={"inspect"},
            )
    detail = {"signs": seen, "note": note}
    for name in {f"laptop:{laptop_id}": None, **{one.name: None for one in about}}:
        await audit.note(connection, now, who, "inspected", name, detail)
    return bool(seen)
