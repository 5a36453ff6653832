"""A collector on loopback that answers as it is told and remembers what it heard."""

import gzip
import json
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass(frozen=True)
class Heard:
    """One request."""

    path: str
    headers: dict[str, str]
    raw: bytes

    @property
    def body(self) -> dict[str, Any]:
        unpacked: dict[str, Any] = json.loads(gzip.decompress(self.raw))
        return unpacked

    @property
    def report_ids(self) -> list[str]:
        return [report["report_id"] for report in self.body["reports"]]


@dataclass(frozen=True)
class Say:
    """One answer."""

    status: int
    body: bytes = b""
    kind: str = "application/json"
    headers: dict[str, str] = field(default_factory=dict)


Answer = Callable[[Heard], Say | None]
"""What to say; None hangs up without a word."""


def results(status: str, ids: list[str], **more: str) -> Say:
    """Answer every report alike."""
    told = [{"report_id": i, "status": status} | more for i in ids]
    return Say(200, json.dumps({"results": told}).encode())


def problem(status: int, title: str, **headers: str) -> Say:
    """Answer with a problem (RFC 9457)."""
    body = json.dumps({"title": title, "status": status}).encode()
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return Say(status, body, "application/problem+json", named)


def store_all(heard: Heard) -> Say:
    """Enrol everyone and store everything."""
    if heard.path.endswith("/enrol"):
        return Say(201, b'{"laptop_id": 417, "key": "key-of-417"}')
    return results("stored", heard.report_ids)


@dataclass
class CollectorServer:
    """What the server is told and what it heard."""

    url: str = ""
    answer: Answer = store_all
    heard: list[Heard] = field(default_factory=list)
    date: str | None = None

    def heard_ids(self) -> list[str]:
        """Return the ids of all reports posted, in order."""
        posts = [h for h in self.heard if h.path.endswith("/reports")]
        return [report_id for post in posts for report_id in post.report_ids]


@contextmanager
def collector_server(
    context: ssl.SSLContext | None = None,
) -> Iterator[CollectorServer]:
    """Run a collector on a free port of 127.0.0.1 while in the block."""
    told = CollectorServer()

    class Handler(BaseHTTPRequestHandler):
        timeout = 10

        def do_GET(self) -> None:
            self.do_POST()

        def do_POST(self) -> None:
            size = int(self.headers.get("Content-Length", 0))
            heard = Heard(self.path, dict(self.headers), self.rfile.read(size))
            told.heard.append(heard)
            if (say := told.answer(heard)) is not None:
                self.wfile.write(_message(say))

        def do_HEAD(self) -> None:
            date = {} if told.date is None else {"Date": told.date}
            self.wfile.write(_message(Say(404, b"", "text/plain", date)))

        def log_message(self, *_: object) -> None:
            """Keep the test's output clean."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if context is not None:
        server.socket = context.wrap_socket(
            server.socket, server_side=True, do_handshake_on_connect=False
        )
    scheme = "http" if context is None else "https"
    told.url = f"{scheme}://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.02,))
    thread.start()
    try:
        yield told
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def _message(say: Say) -> bytes:
    fields = {
        "Content-Type": say.kind,
        "Content-Length": str(len(say.body)),
        **say.headers,
    }
    head = "".join(f"{name}: {value}\r\n" for name, value in fields.items())
    return f"HTTP/1.1 {say.status} Said\r\n{head}\r\n".encode() + say.body
