"""The key of this laptop, and the new one that takes its place.

A new key is kept beside the old one until the collector has taken it: a crash or a lost
answer at any point leaves one that works.
"""

from pathlib import Path
from typing import Any

from fadewatch_agent.client import Client
from fadewatch_agent.enrolment import FILE, Enrolment
from fadewatch_agent.errors import DeliveryError, NotACollector, Refused
from fadewatch_agent.secret import is_secret
from fadewatch_agent.state import read_record, write_record

_REPORTS, _KEY = "/api/v1/reports", "/api/v1/key"
NOTHING = b'{"reports":[]}'
"""A delivery of nothing: shows whether a key is taken."""


class Keyring:
    """Posts reports with whichever key works."""

    def __init__(self, client: Client, kept: Enrolment, state: Path) -> None:
        self._client = client
        self._file = state / FILE
        self._key = kept.key
        self._next = kept.next_key
        self._is_asked = False

    def post(self, body: bytes) -> dict[str, Any]:
        """Post reports and return the answer.

        Raises
        ------
        DeliveryError
            They were not taken.
        """
        answer = self._posted(body)
        self._is_asked |= answer.get("renew_key") is True
        return answer

    def renew_if_asked(self) -> None:
        """Take a new key where the collector asked for it; a failure waits."""
        if not self._is_asked:
            return
        try:
            answer = self._client.post(_KEY, b"{}", 201, self._key)
            fresh = answer.get("key")
            if not is_secret(fresh):
                raise NotACollector("the answer to the renewal holds no key")
            self._keep(next_key=fresh)
            self._next = str(fresh)
            self._posted(NOTHING)
        except DeliveryError:
            # The key in use works still; the next run is asked again.
            return

    def _posted(self, body: bytes) -> dict[str, Any]:
        if self._next is None:
            return self._client.post(_REPORTS, body, 200, self._key)
        try:
            answer = self._client.post(_REPORTS, body, 200, self._next)
        except Refused:
            self._keep(next_key=None)
            self._next = None
            return self._client.post(_REPORTS, body, 200, self._key)
        self._key, self._next = self._next, None
        self._keep(key=self._key, next_key=None)
        return answer

    def _keep(self, **changed: object) -> None:
        write_record(self._file, read_record(self._file) | changed)
