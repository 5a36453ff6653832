"""Laptops that report without a pause, as agents do: what fails is sent again."""

import http.client
import json
import secrets
import subprocess
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from fadewatch_common.report_id import make_report_id
from proving.stage import HOST, Stage, StepError

LAPTOPS = 24
WORN = LAPTOPS
"""Number of one more laptop, which reports nothing until news are listened for."""
SENDERS = 4
PAUSE_S = 0.2
"""Before a report is sent again [s]; an agent would wait longer."""
LONGEST_S = 60.0
"""How long one report may take until it is answered [s]."""
RANDOM_BITS = 74


@dataclass(slots=True)
class Load:
    """Reports through the proxy, and what was answered."""

    stage: Stage
    keys: list[str] = field(default_factory=list)
    answered: dict[str, str] = field(default_factory=dict)
    again: int = 0
    longest_s: float = 0.0
    stop: threading.Event = field(default_factory=threading.Event)
    problems: list[str] = field(default_factory=list)

    def enrol(self) -> str:
        """Enrol the laptops with one token."""
        words = ["--label", "proof", "--site", "Harbour", "--uses", str(LAPTOPS + 1)]
        token = self.stage.collector("token", "new", *words)
        agent = {"version": "0.1.0", "platform": "linux"}
        for number in range(LAPTOPS + 1):
            body = {"token": token, "laptop": _laptop(number), "agent": agent}
            status, said = self._post("/api/v1/enrol", body)
            if status != http.client.CREATED:
                raise StepError(f"an enrolment was answered {status}: {said}")
            self.keys.append(said["key"])
        return f"{LAPTOPS} laptops"

    def during(self, work: Callable[[], str]) -> Callable[[], str]:
        """Return work to be done while the laptops report."""

        def loaded() -> str:
            self.stop.clear()
            self.again, self.longest_s = 0, 0.0
            senders = [
                threading.Thread(target=self._send, args=(n,)) for n in range(SENDERS)
            ]
            for sender in senders:
                sender.start()
            try:
                return work()
            finally:
                self.stop.set()
                for sender in senders:
                    sender.join()
                if self.problems:
                    raise StepError(self.problems[0])

        return loaded

    def run_for(self, seconds: float) -> None:
        """Let the laptops report for a while."""
        time.sleep(seconds)

    def said(self) -> str:
        """Tell how it went."""
        return (
            f"{len(self.answered)} reports answered so far, {self.again} tries failed, "
            f"the longest wait {self.longest_s:.1f} s"
        )

    def check_stored(self) -> str:
        """Compare what was answered with what the database holds."""
        query = "SELECT report_id, count(*) FROM reports GROUP BY report_id"
        stored = dict(
            line.split("|") for line in psql(self.stage, query) if line.strip()
        )
        missing = self.answered.keys() - stored.keys()
        doubled = [name for name, count in stored.items() if count != "1"]
        if missing or doubled:
            raise StepError(f"{len(missing)} are missing, {len(doubled)} are doubled")
        return f"{len(self.answered)} answered, none missing, none twice"

    def report_worn(self) -> None:
        """Send a spool of ten days, with a pack that is worn out."""
        for day in range(10, 0, -1):
            self.report(WORN, 20000, timedelta(days=day))

    def report(
        self, number: int, full_charge_mwh: int, ago: timedelta = timedelta()
    ) -> str:
        """Send one report of a laptop until it is answered; returns its id."""
        now = datetime.now(UTC) - ago
        unix_ms = int(now.timestamp() * 1000)
        report_id = make_report_id(unix_ms, secrets.randbits(RANDOM_BITS))
        pack = {
            "slot": "BAT0", "unit": "mWh", "maker": "Callow Cells", "model": "CC-57",
            "serial": f"{number:05}", "design_capacity": 57000,
            "full_charge_capacity": full_charge_mwh,
        }  # fmt: skip
        report = {
            "schema": 1, "report_id": report_id, "measured_at": now.isoformat(),
            "agent": {"version": "0.1.0", "platform": "linux"},
            "laptop": _laptop(number), "packs": [pack],
        }  # fmt: skip
        started = time.monotonic()
        while True:
            if time.monotonic() - started > LONGEST_S:
                raise StepError(f"report {report_id} was not answered")
            try:
                status, said = self._post(
                    "/api/v1/reports", {"reports": [report]}, self.keys[number]
                )
            except (OSError, http.client.HTTPException):
                status, said = 0, {}
            if status == http.client.OK:
                break
            self.again += 1
            time.sleep(PAUSE_S)
        self.answered[report_id] = said["results"][0]["status"]
        self.longest_s = max(self.longest_s, time.monotonic() - started)
        return report_id

    def _send(self, sender: int) -> None:
        numbers = range(sender, LAPTOPS, SENDERS)
        try:
            while not self.stop.is_set():
                for number in numbers:
                    self.report(number, 54000)
                # The limit of one laptop is a report a second, after sixty at once.
                self.stop.wait(1.0)
        except StepError as problem:
            self.problems.append(str(problem))

    def _post(
        self, path: str, body: object, key: str | None = None
    ) -> tuple[int, dict[str, Any]]:
        port = self.stage.ports[3]
        connection = http.client.HTTPSConnection(
            HOST, port, timeout=15, context=self.stage.trust()
        )
        headers = {"Content-Type": "application/json"}
        if key is not None:
            headers["Authorization"] = f"Bearer {key}"
        try:
            connection.request("POST", path, json.dumps(body), headers)
            answer = connection.getresponse()
            text = answer.read()
        finally:
            connection.close()
        is_json = "json" in answer.headers.get("Content-Type", "")
        return answer.status, json.loads(text) if is_json else {}


def psql(stage: Stage, query: str, database: str = "fadewatch") -> list[str]:
    """Ask the database itself; returns lines with their cells parted by a bar."""
    command = [
        "psql",
        "--no-psqlrc",
        "-At",
        "-d",
        stage.database(database),
        "-c",
        query,
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise StepError(f"psql: {done.stderr.strip()}")
    return done.stdout.splitlines()


def _laptop(number: int) -> dict[str, str]:
    return {
        "maker": "Brightmoor", "model": "Tern 14", "serial": f"BM-{number:05}",
        "hostname": f"tern-{number:03}",
    }  # fmt: skip
