"""Answers that come to an end: neither without limit nor drop by drop for ever."""

import http.client
import io
import socket
import time
from typing import Any

LONGEST_ANSWER = 4 * 1024 * 1024
"""Most bytes of an answer; one on 500 reports has some 50,000."""

LONGEST_ANSWER_SECONDS = 60.0
"""Longest time for an answer to arrive, its head included [s]. Own choice."""

_PART = 16_384


class HurriedResponse(http.client.HTTPResponse):
    """An answer that has to be there, head and all, within some time.

    A socket's own time limit begins anew with every byte: by itself it lets a head of
    64 KiB take weeks, and the lock of the one run would be held for as long.
    """

    seconds = LONGEST_ANSWER_SECONDS

    def __init__(
        self,
        sock: socket.socket,
        debuglevel: int = 0,
        method: str | None = None,
        url: str | None = None,
    ) -> None:
        super().__init__(sock, debuglevel, method, url)
        until = time.monotonic() + self.seconds
        self.fp = io.BufferedReader(_Until(sock, self.fp.detach(), until))


class _Until(io.RawIOBase):
    """What a socket gives before a moment."""

    def __init__(self, sock: socket.socket, raw: io.RawIOBase, until: float) -> None:
        self._sock, self._raw, self._until = sock, raw, until
        self._patience = sock.gettimeout()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any, /) -> int | None:
        left = self._until - time.monotonic()
        if left <= 0:
            raise TimeoutError("the answer does not end")
        longest = left if self._patience is None else min(left, self._patience)
        self._sock.settimeout(longest)
        return self._raw.readinto(buffer)

    def close(self) -> None:
        self._raw.close()
        super().close()


def hurried(seconds: float) -> type[HurriedResponse]:
    """Return the kind of answer that has so much time [s]."""
    return type("_Hurried", (HurriedResponse,), {"seconds": seconds})


def whole(response: http.client.HTTPResponse) -> bytes:
    """Read the rest of an answer.

    Raises
    ------
    TimeoutError
        It is too long, or takes too long.
    """
    parts: list[bytes] = []
    while part := response.read1(_PART):
        parts.append(part)
        if len(parts) > LONGEST_ANSWER // _PART:
            raise TimeoutError("the answer does not end")
    return b"".join(parts)
