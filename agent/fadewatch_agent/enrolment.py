"""How a laptop gets its own key, and where the key is kept."""

import json
from pathlib import Path
from typing import NamedTuple, TypeGuard

from fadewatch_agent.client import Client
from fadewatch_agent.configuration import Settings
from fadewatch_agent.errors import NotACollector, NotEnrolled
from fadewatch_agent.state import read_record, write_record
from fadewatch_common.encoding import to_plain
from fadewatch_common.placeholders import is_placeholder, is_placeholder_uuid
from fadewatch_common.report import Laptop, Report

FILE = "enrolment.json"

_LONGEST_TOKEN = 4096


class Enrolment(NamedTuple):
    """The laptop's standing with one collector."""

    collector: str
    laptop_id: int
    key: str
    serial: str | None
    board_uuid: str | None

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
    )


def has_newer_token(settings: Settings) -> bool:
    """Say whether the token was put there after the key that is kept."""
    if settings.token_file is None:
        return False
    try:
        token, key = settings.token_file.stat(), (settings.state / FILE).stat()
    except OSError:
        return False
    return token.st_mtime_ns > key.st_mtime_ns


def enrol(settings: Settings, client: Client, report: Report) -> Enrolment:
    """Exchange the token for a key of this laptop's own, and keep it.

    Raises
    ------
    NotEnrolled
        There is no token to enrol with.
    DeliveryError
        The collector gave no key.
    """
    token = _token(settings.token_file)
    body = {
        "token": token,
        "laptop": to_plain(report.laptop),
        "agent": to_plain(report.agent),
    }
    answer = client.post("/api/v1/enrol", json.dumps(body).encode(), expected=201)
    laptop_id, key = answer.get("laptop_id"), answer.get("key")
    if not _is_number(laptop_id) or not _is_key(key):
        raise NotACollector("the answer to the enrolment names no laptop or key")
    enrolment = Enrolment(
        collector=settings.collector or "",
        laptop_id=laptop_id,
        key=str(key),
        serial=report.laptop.serial,
        board_uuid=report.laptop.board_uuid,
    )
    write_record(settings.state / FILE, enrolment._asdict())
    return enrolment


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _is_key(key: object) -> bool:
    """Say whether it can go into a header: visible ASCII alone."""
    if not isinstance(key, str) or not key or len(key) > _LONGEST_TOKEN:
        return False
    return all("!" <= character <= "~" for character in key)


def _token(file: Path | None) -> str:
    if file is None:
        raise NotEnrolled("this laptop is not enrolled, and no token file is set")
    try:
        with file.open("rb") as stream:
            token = stream.read(_LONGEST_TOKEN + 1).decode("ascii", "replace").strip()
    except OSError as error:
        raise NotEnrolled(
            f"this laptop is not enrolled, and the token cannot be read: {error}"
        ) from error
    if not _is_key(token):
        raise NotEnrolled(f"this laptop is not enrolled, and {file} holds no token")
    return token


def _is_number(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and value > 0
