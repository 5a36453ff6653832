"""Reports of many laptops at a given rate, as a process of its own.

    python -m tests.benchmarks.million_load PORT SECONDS RATE BURST BURST_AT LAPTOPS

Requests begin at random moments at the rate, for `BURST_S` seconds from BURST_AT on at
the rate and the burst together; their time counts from that moment, whether or not a
connection was free. Each is another laptop's, with its own key. Connections are kept,
as a reverse proxy before the collector keeps them. Prints one JSON object.
"""

import json
import random
import select
import socket
import sys
import time
from collections import Counter, deque
from datetime import UTC, datetime

from fadewatch_common.report_id import make_report_id
from tests.benchmarks.million_fleet import request

CONNECTIONS = 128
BURST_S = 10.0
_ANSWERED_WITHIN_S = 30.0
_PRIME = 7_368_787
"""Neighbours in time are no neighbours in the store."""


class Load:
    """Connections that send and wait for their answers."""

    def __init__(self, port: int, laptops: int) -> None:
        self._laptops = laptops
        self._count = 0
        self._random = random.Random(11)  # noqa: S311  ids that only have to differ
        self._poll = select.epoll()
        self._sockets: dict[int, socket.socket] = {}
        for _ in range(CONNECTIONS):
            opened = socket.create_connection(("127.0.0.1", port))
            opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._sockets[opened.fileno()] = opened
            self._poll.register(opened, select.EPOLLIN)
        self._free = deque(self._sockets)
        self._began: dict[int, float] = {}
        self.statuses: Counter[str] = Counter()
        self.waits: list[tuple[float, float]] = []

    def run(self, seconds: float, rate: float, burst: float, burst_at: float) -> None:
        """Send for a while, then wait for the last answers."""
        begun = due = time.perf_counter()
        end = begun + seconds
        burst_from, burst_to = begun + burst_at, begun + burst_at + BURST_S
        while (now := time.perf_counter()) < end:
            while self._free and due <= now and due < end:
                self._send(due)
                pace = rate + burst if burst_from <= due < burst_to else rate
                due += self._random.expovariate(pace)
            wait = max(0.0, due - now) if self._free else 1.0
            self._receive(min(wait, end - now), begun)
        limit = time.perf_counter() + _ANSWERED_WITHIN_S
        while self._began and time.perf_counter() < limit:
            self._receive(0.1, begun)
        self.statuses["no answer"] += len(self._began)

    @property
    def sent(self) -> int:
        """How many requests were sent."""
        return self._count

    def _send(self, began: float) -> None:
        connection = self._free.popleft()
        self._began[connection] = began
        self._count += 1
        number = self._count * _PRIME % self._laptops + 1
        report_id = make_report_id(
            time.time_ns() // 1_000_000, self._random.getrandbits(74)
        )
        full = 53_000 + self._random.randrange(1_000)
        self._sockets[connection].sendall(
            request(number, report_id, datetime.now(UTC), full)
        )

    def _receive(self, wait_s: float, begun: float) -> None:
        for number, _ in self._poll.poll(max(wait_s, 0.0)):
            answer = self._sockets[number].recv(65_536)
            if not answer:
                raise ConnectionError("the server hung up")
            while not _is_whole(answer):
                answer += self._sockets[number].recv(65_536)
            began = self._began.pop(number)
            self.waits.append((began - begun, time.perf_counter() - began))
            status = answer[9:12].decode()
            if status == "200" and b'"stored"' not in answer:
                status = "200, not stored"
            self.statuses[status] += 1
            self._free.append(number)


def _is_whole(answer: bytes) -> bool:
    head, found, body = answer.partition(b"\r\n\r\n")
    if not found:
        return False
    length = head.lower().partition(b"content-length: ")[2].split(b"\r\n")[0]
    return len(body) >= int(length)


def spread(waits: list[float]) -> dict[str, float]:
    """Return the median, the 99th percentile and the longest of waits [ms]."""
    if not waits:
        return {}
    found = sorted(waits)
    return {
        "p50_ms": 1000 * found[len(found) // 2],
        "p99_ms": 1000 * found[int(len(found) * 0.99)],
        "worst_ms": 1000 * found[-1],
    }


def main() -> None:
    """Send and print what came back."""
    port, seconds, rate, burst, burst_at, laptops = map(float, sys.argv[1:])
    load = Load(int(port), int(laptops))
    processor = time.process_time()
    load.run(seconds, rate, burst, burst_at)
    in_burst = [w for at, w in load.waits if burst_at <= at < burst_at + BURST_S]
    steady = [w for at, w in load.waits if not burst_at <= at < burst_at + BURST_S]
    answer = {
        "sent": load.sent,
        "statuses": {name: n for name, n in load.statuses.items() if n},
        "steady": spread(steady),
        "burst": spread(in_burst),
        "processor_s": time.process_time() - processor,
    }
    print(json.dumps(answer))


if __name__ == "__main__":
    main()
