"""Run the collector as a real process in tests."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

START_S = 90.0
BIN = Path(sys.executable).parent


def free_port() -> int:
    """Return a port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


BACKGROUND = "fadewatch_collector background"
"""Stands in the command line of the process that files, assesses and sends."""
WRITER = "fadewatch_collector.store.writing_process"
"""Stands in the command line of the process that writes reports to SQLite."""


def children_of(pid: int, what: str = "") -> list[int]:
    """Return the processes that a process has started and that still run.

    Parameters
    ----------
    what
        Only those in whose command line this stands.
    """
    told = Path(f"/proc/{pid}/task").glob("*/children")
    children = [int(child) for one in told for child in one.read_text().split()]
    return [child for child in children if what in _command_line(child)]


def _command_line(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()
    except OSError:
        # It has just ended.
        return ""


def signal_all(process: subprocess.Popen[bytes], what: signal.Signals) -> None:
    """Send a signal to a service and to what works behind it."""
    for number in (process.pid, *children_of(process.pid)):
        os.kill(number, what)


def kill_all(process: subprocess.Popen[bytes]) -> None:
    """End a service and what works behind it at one moment, as a power cut does."""
    signal_all(process, signal.SIGKILL)
    process.wait()


@dataclass(frozen=True, slots=True)
class CollectorProcess:
    """Where a collector runs, and how to run its commands."""

    folder: Path
    port: int
    settings: Mapping[str, str] = field(default_factory=dict)

    @property
    def log(self) -> Path:
        return self.folder.parent / "collector.log"

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def store(self) -> Path:
        return self.folder / "fadewatch.sqlite3"

    def environment(self) -> dict[str, str]:
        given = {
            "DATA_FOLDER": str(self.folder),
            "PORT": str(self.port),
            "LOG_LEVEL": "WARNING",
        } | dict(self.settings)
        return os.environ | {f"FADEWATCH_{name}": said for name, said in given.items()}

    def command(self, *arguments: str) -> str:
        """Run a command of the collector and return what it printed."""
        return subprocess.run(
            [BIN / "fadewatch-collector", *arguments],
            env=self.environment(),
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()

    def start(
        self,
        within_s: float = START_S,
        program: Sequence[str] = (str(BIN / "fadewatch-collector"), "serve"),
    ) -> subprocess.Popen[bytes]:
        """Start the service and wait until it answers."""
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                program,
                env=self.environment(),
                stdout=subprocess.DEVNULL,
                stderr=log,
            )
        deadline = time.monotonic() + within_s
        while not self._answers():
            assert process.poll() is None, f"it ended: {self.log.read_text()[-1500:]}"
            if time.monotonic() > deadline:
                process.kill()
                process.wait()
                raise AssertionError("the collector does not answer")
            time.sleep(0.05)
        return process

    @contextlib.contextmanager
    def running(self) -> Iterator[subprocess.Popen[bytes]]:
        """Keep the service running for a while, then stop it as a system would."""
        process = self.start()
        try:
            yield process
        finally:
            process.terminate()
            process.wait(20)

    def _answers(self) -> bool:
        try:
            with urllib.request.urlopen(  # noqa: S310  a loopback address
                f"{self.url}/readyz", timeout=2
            ) as answer:
                return bool(answer.status == 200)
        except OSError:
            return False


def new_collector(
    folder: Path, settings: Mapping[str, str] | None = None
) -> CollectorProcess:
    """Prepare a collector with an empty data folder below ``folder``."""
    data = folder / "data"
    data.mkdir()
    return CollectorProcess(data, free_port(), settings or {})
