"""A wire between agents and a collector that takes down what passes, and may fail.

What the collector answers is taken down before it is handed on: a report counts as
answered from the moment on which the collector says so, whoever still hears it.
"""

import gzip
import http.client
import json
import socket
import threading
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from email.parser import BytesHeaderParser

from tests.faults.ledger import Ledger

_PART = 65_536
_LONGEST_S = 60.0

Fault = Callable[[bytes], bytes | None]
"""Makes of an answer what the agent gets; None hangs up without a word."""


def unharmed(answer: bytes) -> bytes:
    """Hand an answer on as it is."""
    return answer


def lost(_: bytes) -> None:
    """Lose an answer."""


@dataclass
class Wire:
    """Where the collector is, what passed, and what becomes of answers."""

    target: int
    url: str = ""
    fault: Fault = unharmed
    ledger: Ledger = field(default_factory=Ledger)
    requests: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def carry(self, client: socket.socket) -> None:
        """Carry one request there and its answer back."""
        with client, suppress(OSError):
            client.settimeout(_LONGEST_S)
            request = _whole(client)
            if request is None:
                return
            self._note_sent(*request)
            with socket.create_connection(("127.0.0.1", self.target)) as collector:
                collector.settimeout(_LONGEST_S)
                collector.sendall(b"\r\n\r\n".join(request))
                answer = b"".join(iter(lambda: collector.recv(_PART), b""))
            self._note_answered(answer)
            if (handed_on := self.fault(answer)) is not None:
                client.sendall(handed_on)

    def _note_sent(self, head: bytes, body: bytes) -> None:
        with self.lock:
            self.requests += 1
            if head.startswith(b"POST /api/v1/reports "):
                reports = json.loads(gzip.decompress(body))["reports"]
                self.ledger.sent |= {report["report_id"] for report in reports}

    def _note_answered(self, answer: bytes) -> None:
        head, _, body = answer.partition(b"\r\n\r\n")
        if head.split(b" ", 2)[1:2] != [b"200"]:
            return
        with suppress(ValueError):
            told = json.loads(_unpacked(head, body))
            with self.lock:
                self.ledger.note(told.get("results", ()))


def _unpacked(head: bytes, body: bytes) -> bytes:
    if b"\r\ncontent-encoding: gzip" in head.lower():
        return zlib.decompress(body, wbits=31)
    return body


def _whole(client: socket.socket) -> tuple[bytes, bytes] | None:
    """Read a request to its end; None when it breaks off."""
    read = b""
    while b"\r\n\r\n" not in read:
        part = client.recv(_PART)
        if not part:
            return None
        read += part
    head, _, body = read.partition(b"\r\n\r\n")
    fields = BytesHeaderParser().parsebytes(head.partition(b"\r\n")[2])
    size = int(fields.get("Content-Length", 0))
    while len(body) < size:
        part = client.recv(_PART)
        if not part:
            return None
        body += part
    return head, body


@contextmanager
def wire_to(target: int) -> Iterator[Wire]:
    """Lay a wire to a port of this machine while in the block."""
    listener = socket.create_server(("127.0.0.1", 0))
    told = Wire(target, f"http://127.0.0.1:{listener.getsockname()[1]}")
    threads: list[threading.Thread] = []

    def serve() -> None:
        while True:
            try:
                client, _ = listener.accept()
            except OSError:
                return
            threads.append(threading.Thread(target=told.carry, args=(client,)))
            threads[-1].start()

    server = threading.Thread(target=serve)
    server.start()
    try:
        yield told
    finally:
        with suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        server.join()
        for thread in threads:
            thread.join()


def said(answer: bytes) -> int:
    """Return the status of an answer as it went over the wire."""
    return int(answer.split(b" ", 2)[1])


def html(status: int) -> bytes:
    """Return what a proxy says in place of the collector."""
    page = b"<html><body><h1>Sign in to the network</h1></body></html>"
    words = http.client.responses[status].encode()
    head = b"HTTP/1.1 %d %s\r\nContent-Type: text/html\r\nContent-Length: %d\r\n\r\n"
    return head % (status, words, len(page)) + page
