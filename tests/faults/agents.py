"""Agents as real processes, each with a laptop of its own made of files."""

import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from tests.processes import BIN
from tests.unit.agent.laptops import HEALTHY, empty_tree, supply

SPOOL = "spool.sqlite"


@dataclass(frozen=True, slots=True)
class AgentProcess:
    """One laptop's agent: its tree, its state folder, and where it reports to."""

    folder: Path
    collector: str

    @property
    def state(self) -> Path:
        return self.folder / "state"

    @property
    def spool(self) -> Path:
        return self.state / SPOOL

    def words(self, *more: str) -> list[str]:
        """Return the command line of a report."""
        return [
            "report",
            f"--root={self.folder / 'tree'}",
            f"--state={self.state}",
            f"--collector={self.collector}",
            f"--token-file={self.folder / 'token'}",
            *(more or ("--patience=0",)),
        ]

    def start(
        self, *more: str, program: tuple[str, ...] = (str(BIN / "fadewatch-agent"),)
    ) -> subprocess.Popen[str]:
        """Start a report and return at once."""
        return subprocess.Popen(
            [*program, *self.words(*more)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(
        self, *more: str, program: tuple[str, ...] = (str(BIN / "fadewatch-agent"),)
    ) -> tuple[int, str]:
        """Run a report to its end; returns its exit code and what it printed."""
        with self.start(*more, program=program) as process:
            out, errors = process.communicate(timeout=240)
        return process.returncode, out + errors

    def deliver_all(self, within_s: float = 120.0) -> None:
        """Report until nothing waits, as the timer would, obeying what it is told."""
        until = time.monotonic() + within_s
        while True:
            code, said = self.run()
            if code == 0:
                assert self.waiting() == []
                return
            assert time.monotonic() < until, said
            time.sleep(2)

    def waiting(self) -> list[str]:
        """Return the ids in the queue, by a copy so that nothing is tidied up in it."""
        if not self.spool.exists():
            return []
        with tempfile.TemporaryDirectory() as folder:
            for file in self.state.glob(f"{SPOOL}*"):
                shutil.copy(file, folder)
            with closing(sqlite3.connect(Path(folder) / SPOOL)) as copy:
                if not copy.execute("PRAGMA user_version").fetchone()[0]:
                    return []
                rows = copy.execute("SELECT report_id FROM queued ORDER BY sequence")
                return [str(row[0]) for row in rows]

    def was_damaged(self) -> bool:
        """Say whether the agent has ever set its queue's file aside."""
        return self.spool.with_name(f"{SPOOL}.damaged").exists()


def new_agent(
    folder: Path,
    number: int,
    collector: str,
    token: str,
    strings: Mapping[str, str] | None = None,
) -> AgentProcess:
    """Lay out a laptop with one pack and the token to get in with."""
    own = folder / f"laptop-{number}"
    pack = HEALTHY | {"serial_number": f"{number:05}"} | dict(strings or {})
    supply(empty_tree(own / "tree"), "BAT0", pack)
    identity = own / "tree/sys/class/dmi/id"
    identity.mkdir(parents=True)
    for name, value in (
        ("sys_vendor", "Tarnholm"),
        ("product_name", "Ridgeway 14"),
        ("product_serial", f"TH4X{number:04}"),
    ):
        (identity / name).write_text(value)
    (own / "token").write_text(token)
    return AgentProcess(own, collector)


def by_another_clock(days: int, module: str) -> tuple[str, ...]:
    """Return the start of a command line for a program whose clock is days off."""
    start = (
        "import sys, time_machine, datetime\n"
        f"off = datetime.timedelta(days={days})\n"
        "now = datetime.datetime.now(datetime.UTC)\n"
        "time_machine.travel(now + off, tick=True).start()\n"
        f"from {module} import main\n"
        "sys.exit(main())"
    )
    return (sys.executable, "-c", start)
