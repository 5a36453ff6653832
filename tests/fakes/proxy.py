"""A proxy on loopback that opens tunnels and remembers what passed through."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field


@dataclass
class Proxy:
    """Where the tunnels lead, and what was asked and seen."""

    address: str
    target: int
    requests: list[str] = field(default_factory=list)
    passed: bytearray = field(default_factory=bytearray)
    answer: bytes = b"HTTP/1.1 200 Connection established\r\n\r\n"


@contextmanager
def tunnelling_proxy(target: int) -> Iterator[Proxy]:
    """Run a proxy whose every tunnel ends at a port of this machine."""
    listener = socket.create_server(("127.0.0.1", 0))
    listener.settimeout(10)
    told = Proxy(f"http://127.0.0.1:{listener.getsockname()[1]}", target)
    thread = threading.Thread(target=_serve, args=(listener, told))
    thread.start()
    try:
        yield told
    finally:
        with suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join()


def _serve(listener: socket.socket, told: Proxy) -> None:
    while True:
        try:
            client, _ = listener.accept()
        except OSError:
            return
        with client:
            told.requests.append(_head(client))
            client.sendall(told.answer)
            if b" 200 " in told.answer:
                _tunnel(client, told)


def _head(client: socket.socket) -> str:
    head = b""
    while not head.endswith(b"\r\n\r\n"):
        head += client.recv(1)
    return head.decode()


def _tunnel(client: socket.socket, told: Proxy) -> None:
    with socket.create_connection(("127.0.0.1", told.target)) as server:
        back = threading.Thread(target=_pump, args=(server, client, told))
        back.start()
        _pump(client, server, told)
        back.join()


def _pump(source: socket.socket, sink: socket.socket, told: Proxy) -> None:
    with suppress(OSError):
        while part := source.recv(65_536):
            told.passed += part
            sink.sendall(part)
        sink.shutdown(socket.SHUT_WR)
