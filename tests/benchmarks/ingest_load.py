"""Send reports over many connections, as a process of its own.

    python -m tests.benchmarks.ingest_load PORT SECONDS RATE SEED

RATE 0: every connection sends again as soon as it is answered. Else requests begin at
random moments at that rate a second, and their time counts from that moment, whether
or not a connection was free. Prints one JSON object. Plain sockets without a client
library: the load must cost less than what it measures.
"""

import json
import random
import select
import socket
import sys
import time
from collections import Counter, deque
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import count

from fadewatch_common.encoding import format_moment
from fadewatch_common.report_id import make_report_id
from tests.benchmarks.ingest_reports import LAPTOPS, Outgoing, outgoing
from tests.reports import START

CONNECTIONS = 64
WARM_UP_S = 0.5
_EVERY = timedelta(hours=6)
_ANSWERED_WITHIN_S = 10.0


@dataclass(slots=True)
class Tally:
    """What came back."""

    statuses: Counter[str] = field(default_factory=Counter)
    waits: list[float] = field(default_factory=list)

    def note(self, answer: bytes, wait: float) -> None:
        status = answer[9:12].decode()
        if status == "200" and b'"stored"' not in answer:
            status = "200, not stored"
        self.statuses[status] += 1
        self.waits.append(wait)


class Requests:
    """The requests of the whole fleet, one laptop after the other."""

    def __init__(self, seed: int) -> None:
        self._fleet: list[Outgoing] = [outgoing(n + 1) for n in range(LAPTOPS)]
        self._moments = [format_moment(START + n * _EVERY) for n in range(400)]
        self._numbers = count()
        self._random = random.Random(seed)  # noqa: S311  ids that only have to differ
        self._first = self._random.randrange(300) * LAPTOPS

    def next(self) -> bytes:
        number = next(self._numbers)
        report_id = make_report_id(
            time.time_ns() // 1_000_000, self._random.getrandbits(74)
        )
        moment = self._moments[(self._first + number) // LAPTOPS % 400]
        return self._fleet[number % LAPTOPS].request(report_id, moment)


class Load:
    """Connections that send and wait for their answers."""

    def __init__(self, port: int, seed: int) -> None:
        self._requests = Requests(seed)
        self._poll = select.epoll()
        self._sockets: dict[int, socket.socket] = {}
        for _ in range(CONNECTIONS):
            opened = socket.create_connection(("127.0.0.1", port))
            opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._sockets[opened.fileno()] = opened
            self._poll.register(opened, select.EPOLLIN)
        self._free = deque(self._sockets)
        self._began: dict[int, float] = {}

    def run(self, seconds: float, rate: float) -> Tally:
        """Send for a while, then wait for the last answers."""
        tally, due = Tally(), time.perf_counter()
        end = due + seconds
        gaps = random.Random(7)  # noqa: S311  moments, not secrets
        while (now := time.perf_counter()) < end:
            while self._free and (not rate or due <= now):
                self._send(due if rate else time.perf_counter())
                due += gaps.expovariate(rate) if rate else 0.0
            wait = max(0.0, due - now) if rate and self._free else 1.0
            self._receive(min(wait, end - now), tally)
        limit = time.perf_counter() + _ANSWERED_WITHIN_S
        while self._began and time.perf_counter() < limit:
            self._receive(0.1, tally)
        tally.statuses["no answer"] += len(self._began)
        return tally

    def _send(self, began: float) -> None:
        number = self._free.popleft()
        self._began[number] = began
        # Two kilobytes fit into the socket's buffer at once.
        self._sockets[number].sendall(self._requests.next())

    def _receive(self, wait_s: float, tally: Tally) -> None:
        for number, _ in self._poll.poll(wait_s):
            answer = self._sockets[number].recv(65_536)
            if not answer:
                raise ConnectionError("the server hung up")
            while not _is_whole(answer):
                answer += self._sockets[number].recv(65_536)
            tally.note(answer, time.perf_counter() - self._began.pop(number))
            self._free.append(number)


def _is_whole(answer: bytes) -> bool:
    head, found, body = answer.partition(b"\r\n\r\n")
    if not found:
        return False
    length = head.lower().partition(b"content-length: ")[2].split(b"\r\n")[0]
    return len(body) >= int(length)


def main() -> None:
    """Warm the server up, measure, and print."""
    port, seconds, rate, seed = sys.argv[1:]
    load = Load(int(port), int(seed))
    warm = len(load.run(WARM_UP_S, float(rate)).waits)
    started, processor = time.perf_counter(), time.process_time()
    tally = load.run(float(seconds), float(rate))
    took = time.perf_counter() - started
    processor = time.process_time() - processor
    waits = sorted(tally.waits)
    answer = {
        "answered": len(waits) + warm,
        "per_second": len(waits) / took,
        "p50_ms": 1000 * waits[len(waits) // 2],
        "p99_ms": 1000 * waits[int(len(waits) * 0.99)],
        "worst_ms": 1000 * waits[-1],
        "statuses": {name: n for name, n in tally.statuses.items() if n},
        "load_processor": processor / took,
    }
    print(json.dumps(answer))


if __name__ == "__main__":
    main()
