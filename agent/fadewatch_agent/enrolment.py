"""How a laptop gets its own key, and where the key is kept."""

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeGuard

from fadewatch_agent.configuration import Settings
from fadewatch_agent.errors import InvalidConfiguration, NotACollector, NotEnrolled
from fadewatch_agent.secret import checked_token, is_secret, read_token_file
from fadewatch_agent.state import read_record, write_record
from fadewatch_common.encoding import to_plain
from fadewatch_common.placeholders import is_placeholder, is_placeholder_uuid
from fadewatch_common.report import Laptop, Report

if TYPE_CHECKING:
    # Who only looks whether there is a key does not pay for TLS.
    from fadewatch_agent.client import Client

FILE = "enrolment.json"
ATTEMPT_FILE = "attempt.json"
"""Random name of an attempt at enrolling, kept until the key is: asked again after a
lost answer the collector knows that it is the same laptop."""

_ATTEMPT_BYTES = 16


class Enrolment(NamedTuple):
    """The laptop's standing with one collector."""

    collector: str
    laptop_id: int
    key: str
    serial: str | None
    board_uuid: str | None
    next_key: str | None = None

    def is_of(self, laptop: Laptop) -> bool:
        """Say whether it was made on this laptop, not on one its disk came from.

        An image or a drive that moves takes the file along. Only what firmware sets
        on purpose can tell; a value that is missing on either side tells nothing.
        """
        uuids = (self.board_uuid, laptop.board_uuid)
        serials = (self.serial, laptop.serial)
        if uuids[0] != uuids[1] and not any(map(is_placeholder_uuid, uuids)):
            return False
        return serials[0] == serials[1] or any(map(is_placeholder, serials))


def kept_enrolment(state: Path) -> Enrolment | None:
    """Return the enrolment on disk; None when there is none that can be used."""
    record = read_record(state / FILE)
    texts = {name: record.get(name) for name in ("collector", "key")}
    laptop_id = record.get("laptop_id")
    if not all(isinstance(text, str) and text for text in texts.values()):
        return None
    if not _is_number(laptop_id):
        return None
    return Enrolment(
        **{name: str(text) for name, text in texts.items()},
        laptop_id=laptop_id,
        serial=_text(record.get("serial")),
        board_uuid=_text(record.get("board_uuid")),
        next_key=_text(record.get("next_key")),
    )


def has_another_token(settings: Settings) -> bool:
    """Say whether there is a token other than the one that gave the kept key.

    Not when it was put there: a token that is lent to a service looks new each time.
    """
    try:
        token = _token(settings)
    except NotEnrolled:
        return False
    return token_mark(token) != read_record(settings.state / FILE).get("token_mark")


def token_mark(token: str) -> str:
    """Return what a token is recognised by, and from which it cannot be guessed."""
    # Loaded by then: TLS needs the same library.
    from hashlib import sha256  # noqa: PLC0415

    return sha256(token.encode()).hexdigest()


def enrol(settings: Settings, client: "Client", report: Report) -> Enrolment:
    """Exchange the token for a key of this laptop's own, and keep it.

    Raises
    ------
    NotEnrolled
        There is no token to enrol with.
    DeliveryError
        The collector gave no key.
    """
    token = _token(settings)
    body = {
        "token": token,
        "laptop": to_plain(report.laptop),
        "agent": to_plain(report.agent),
        "attempt": _attempt(settings.state / ATTEMPT_FILE),
    }
    answer = client.post("/api/v1/enrol", json.dumps(body).encode(), expected=201)
    laptop_id, key = answer.get("laptop_id"), answer.get("key")
    if not _is_number(laptop_id) or not is_secret(key):
        raise NotACollector("the answer to the enrolment names no laptop or key")
    enrolment = Enrolment(
        collector=settings.collector or "",
        laptop_id=laptop_id,
        key=str(key),
        serial=report.laptop.serial,
        board_uuid=report.laptop.board_uuid,
    )
    record = enrolment._asdict() | {"token_mark": token_mark(token)}
    write_record(settings.state / FILE, record)
    (settings.state / ATTEMPT_FILE).unlink(missing_ok=True)
    return enrolment


def _attempt(file: Path) -> str:
    kept = read_record(file).get("attempt")
    if is_secret(kept):
        return str(kept)
    attempt = os.urandom(_ATTEMPT_BYTES).hex()
    write_record(file, {"attempt": attempt})
    return attempt


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _token(settings: Settings) -> str:
    """Return the token of the file, or else the one among the settings."""
    file, token = settings.token_file, settings.token
    try:
        # A service manager lends a blank file where there is none.
        if file is not None and (token is None or _holds_something(file)):
            return read_token_file(file)
        if token is not None:
            return checked_token(token, "the setting token")
    except InvalidConfiguration as error:
        raise NotEnrolled(f"this laptop is not enrolled, and {error}") from error
    raise NotEnrolled("this laptop is not enrolled, and no token is set")


def _holds_something(file: Path) -> bool:
    try:
        return bool(file.read_bytes().strip())
    except OSError:
        return False


def _is_number(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and value > 0
