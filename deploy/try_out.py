"""Start a collector with an invented fleet, and report this machine to it.

What ``try.sh`` runs once Fadewatch is installed. Standard library only; it uses the
same commands and addresses that a person would.
"""

import argparse
import contextlib
import csv
import http.client
import http.cookiejar
import json
import os
import re
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

HOST = "127.0.0.1"
START_S = 180.0
"""Longest wait for the demo fleet to be made and the collector to answer [s]."""
STOP_S = 20.0
CSV_TRIES = 10
NO_PACK = 3
"""Exit code of ``fadewatch-agent read`` on a machine without a pack."""


class StepError(Exception):
    """A step that did not do what it should."""


@dataclass(slots=True)
class Trial:
    """Where everything is."""

    folder: Path
    port: int
    bin: Path = field(default_factory=lambda: Path(sys.executable).parent)

    @property
    def url(self) -> str:
        """Address of the collector."""
        return f"http://{HOST}:{self.port}"

    @property
    def csv(self) -> Path:
        """Where the fleet CSV is written."""
        return self.folder / "fleet.csv"

    @property
    def pid_file(self) -> Path:
        """Where the collector's process number is kept."""
        return self.folder / "collector.pid"

    @property
    def log(self) -> Path:
        """Where the collector's log goes."""
        return self.folder / "collector.log"

    def environment(self) -> dict[str, str]:
        """Return the environment of the collector's commands."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith("FADEWATCH_")}
        return kept | {
            "FADEWATCH_DATA_FOLDER": str((self.folder / "data").resolve()),
            "FADEWATCH_HOST": HOST,
            "FADEWATCH_PORT": str(self.port),
            "PYTHONUNBUFFERED": "1",
        }

    def run(
        self, program: str, *arguments: str, allowed: tuple[int, ...] = (0,)
    ) -> str:
        """Run one of our commands and return what it printed."""
        done = subprocess.run(
            [self.bin / program, *arguments],
            env=self.environment(),
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode not in allowed:
            said = (done.stderr or done.stdout).strip()
            raise StepError(f"{program} {' '.join(arguments)}: {said}")
        return done.stdout.strip()


def is_up(trial: Trial) -> bool:
    """Say whether a collector answers at the address."""
    try:
        with urllib.request.urlopen(f"{trial.url}/readyz", timeout=5) as answer:
            return bool(json.load(answer).get("status") == "ok")
    except (OSError, ValueError, http.client.HTTPException):
        return False


def is_taken(port: int) -> bool:
    """Say whether something listens on the port."""
    with socket.socket() as probe:
        return probe.connect_ex((HOST, port)) == 0


def free_port() -> int:
    """Return a port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def our_process(trial: Trial) -> int | None:
    """Return the number of the collector we started, if it still runs."""
    try:
        pid = int(trial.pid_file.read_text())
        command = Path(f"/proc/{pid}/cmdline").read_bytes()
    except (OSError, ValueError):
        return None
    # The number may have been given to another process since.
    return pid if b"fadewatch-collector" in command else None


def start_collector(trial: Trial) -> str:
    """Start the collector with the demo fleet, unless it runs."""
    if our_process(trial) and is_up(trial):
        return "runs already"
    if is_taken(trial.port):
        raise StepError(
            f"port {trial.port} is taken by another program; "
            "stop it, or choose another with --port"
        )
    with trial.log.open("w") as log:
        process = subprocess.Popen(
            [trial.bin / "fadewatch-collector", "demo"],
            env=trial.environment(),
            stdout=log,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
            start_new_session=True,
        )
    trial.pid_file.write_text(str(process.pid))
    began = time.monotonic()
    while not is_up(trial):
        if process.poll() is not None:
            raise StepError(f"the collector ended: {_tail(trial.log)}")
        if time.monotonic() - began > START_S:
            raise StepError(f"the collector does not answer; see {trial.log}")
        _show_filling(trial.log)
        time.sleep(0.3)
    return f"started, with an invented fleet, in {time.monotonic() - began:.0f} s"


def _show_filling(log: Path) -> None:
    counted = re.findall(r"(\d+) of (\d+) reports", log.read_text(errors="replace"))
    if counted and sys.stdout.isatty():
        done, total = counted[-1]
        print(f"\r      {done} of {total} reports", end="\r", flush=True)


def _tail(log: Path) -> str:
    return "\n".join(log.read_text(errors="replace").splitlines()[-5:])


def write_agent_configuration(trial: Trial) -> Path:
    """Make a real token and the agent's configuration that names it."""
    token_file = trial.folder / "token"
    configuration = trial.folder / "agent.toml"
    if not (trial.folder / "agent" / "enrolment.json").exists():
        token = trial.run(
            "fadewatch-collector",
            *("token", "new", "--label", "try-out", "--site", "Here"),
            *("--days", "1", "--uses", "5"),
        )
        token_file.touch(mode=0o600)
        token_file.write_text(token + "\n")
    configuration.write_text(
        f"collector = {json.dumps(trial.url)}\n"
        f"token_file = {json.dumps(str(token_file.resolve()))}\n"
        f"state = {json.dumps(str((trial.folder / 'agent').resolve()))}\n"
    )
    return configuration


def report_this_machine(trial: Trial) -> str:
    """Enrol this machine's agent, and send its real reading."""
    configuration = str(write_agent_configuration(trial))
    trial.run("fadewatch-agent", "report", "--config", configuration)
    reading = json.loads(
        trial.run("fadewatch-agent", "read", "--json", allowed=(0, NO_PACK))
    )
    packs = len(reading.get("packs", ()))
    found = f"{packs} pack(s)" if packs else "no pack (a server or virtual machine)"
    return f"enrolled and reported: {found}, {len(reading.get('drives', ()))} drive(s)"


def write_fleet_csv(trial: Trial) -> str:
    """Export the fleet CSV."""
    trial.run("fadewatch-collector", "export", "fleet", "--out", str(trial.csv))
    with trial.csv.open(encoding="utf-8-sig", newline="") as file:
        rows = sum(1 for _ in csv.DictReader(file))
    return f"{rows} rows in {trial.csv}"


def sign_in_link(trial: Trial) -> str:
    """Make a link that signs in once."""
    return trial.run(
        "fadewatch-collector",
        *("user", "sign-in-link", "technician", "--minutes", "480"),
    )


def stop_collector(trial: Trial) -> str:
    """Stop the collector we started."""
    pid = our_process(trial)
    if pid is None:
        return "no collector of ours runs"
    os.kill(pid, signal.SIGTERM)
    began = time.monotonic()
    while our_process(trial):
        if time.monotonic() - began > STOP_S:
            raise StepError(f"process {pid} does not stop")
        # A child of this very process stays a zombie until it is waited for.
        with contextlib.suppress(ChildProcessError):
            os.waitpid(pid, os.WNOHANG)
        time.sleep(0.1)
    trial.pid_file.unlink()
    return "stopped"


def ask(trial: Trial, token: str, path: str) -> dict[str, object]:
    """Ask the collector's API for something."""
    request = urllib.request.Request(
        trial.url + path, headers={"Authorization": f"Bearer {token}"}
    )
    with urllib.request.urlopen(request, timeout=30) as answer:
        found: dict[str, object] = json.load(answer)
    return found


def check_laptop(trial: Trial, token: str) -> str:
    """Ask the collector for the laptop that this machine enrolled as."""
    status = json.loads(
        trial.run(
            "fadewatch-agent",
            *("status", "--json", "--config", str(trial.folder / "agent.toml")),
        )
    )
    laptop = ask(trial, token, f"/api/v1/laptops/{status['laptop_id']}")
    if laptop.get("hostname") != socket.gethostname() or not laptop["last_report_at"]:
        raise StepError(f"the collector shows another machine: {laptop}")
    return f"this machine is laptop {status['laptop_id']}"


def check_alerts(trial: Trial, token: str) -> str:
    """Ask for the alert list."""
    answer = ask(trial, token, "/api/v1/alerts")
    alerts = answer["alerts"]
    if not isinstance(alerts, list) or not alerts:
        raise StepError("the alert list is empty")
    return f"{len(alerts)} alerts on the first page"


def check_csv(trial: Trial, token: str) -> str:
    """Compare an export with what the service sends, and look for this machine.

    The collector goes on assessing meanwhile, so both are taken again if they differ.
    """
    for _ in range(CSV_TRIES):
        write_fleet_csv(trial)
        sent = download_csv(trial, token)
        if sent == trial.csv.read_bytes():
            break
        time.sleep(1)
    else:
        raise StepError("the service's fleet CSV differs from the exported file")
    with trial.csv.open(encoding="utf-8-sig", newline="") as file:
        hosts = {row["hostname"] for row in csv.DictReader(file)}
    if socket.gethostname() not in hosts:
        raise StepError("this machine is not in the fleet CSV")
    return f"{len(sent)} bytes, the same from file and service"


def download_csv(trial: Trial, token: str) -> bytes:
    """Ask the service for the fleet CSV."""
    request = urllib.request.Request(
        trial.url + "/api/v1/exports/fleet.csv",
        headers={"Authorization": f"Bearer {token}"},
    )
    with urllib.request.urlopen(request, timeout=60) as answer:
        sent: bytes = answer.read()
    return sent


def check_sign_in(trial: Trial, link: str) -> str:
    """Follow the one-time link as a browser does and look at the alert list."""
    jar = http.cookiejar.CookieJar()
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    with opener.open(link, timeout=30) as answer:
        page = answer.read().decode()
    form = dict(re.findall(r'name="([^"]+)"\s+value="([^"]*)"', page))
    address = trial.url + urllib.parse.urlsplit(link).path
    with opener.open(
        urllib.request.Request(
            address,
            urllib.parse.urlencode(form).encode(),
            {"Origin": trial.url},
        ),
        timeout=30,
    ) as answer:
        home = answer.read().decode()
    if "Sign out" not in home or "<h1" not in home:
        raise StepError("the one-time link did not lead to the alert list")
    return "signed in, and the alert list came"


def step(number: int, what: str, work: Callable[[], str]) -> None:
    """Do one step and say what came of it."""
    print(f"{number}/7 {what} ...", flush=True)
    try:
        print(f"      {work()}", flush=True)
    except (StepError, urllib.error.URLError, OSError, KeyError, ValueError) as problem:
        print(f"\ntry.sh: step {number} ({what}) failed: {problem}", file=sys.stderr)
        raise SystemExit(1) from problem


def run(trial: Trial, *, check: bool) -> None:
    """Do every step; with check, verify them and stop."""
    links: list[str] = []

    def make_link() -> str:
        links.append(sign_in_link(trial))
        return "made; it works once, within 8 hours"

    step(3, f"collector on {trial.url}", lambda: start_collector(trial))
    step(4, "this machine's agent", lambda: report_this_machine(trial))
    step(5, "fleet CSV", lambda: write_fleet_csv(trial))
    step(6, "one-time sign-in", make_link)
    if not check:
        print(
            f"\n7/7 Ready.\n\n  look at    {links[0]}\n  fleet CSV  {trial.csv}\n"
            f"  log        {trial.log}\n"
            "  stop       sh deploy/try.sh --stop\n"
            "\nThe fleet is invented; the laptop at site 'Here' is this machine.\n"
        )
        return
    token = trial.run(
        "fadewatch-collector",
        *("user", "api-token", "new", "technician", "--label", "check", "--days", "1"),
    )
    step(7, "asking the collector for this machine", lambda: check_laptop(trial, token))
    step(7, "asking for the alerts", lambda: check_alerts(trial, token))
    step(7, "comparing the fleet CSV", lambda: check_csv(trial, token))
    step(7, "following the one-time link", lambda: check_sign_in(trial, links[0]))


def main() -> None:
    """Read the options and go."""
    parser = argparse.ArgumentParser(prog="try.sh", description=__doc__)
    parser.add_argument("--folder", type=Path, required=True, help=argparse.SUPPRESS)
    parser.add_argument("--port", type=int, default=8470)
    parser.add_argument("--check", action="store_true", help="verify each step, stop")
    parser.add_argument("--stop", action="store_true", help="stop what was started")
    options = parser.parse_args()
    if options.check:
        check(options.folder, options.port)
        return
    trial = Trial(options.folder.resolve(), options.port)
    if options.stop:
        print(stop_collector(trial))
    else:
        run(trial, check=False)


def check(folder: Path, port: int) -> None:
    """Do and verify every step in a folder of its own, which goes when all is well."""
    own = (folder / f"check-{secrets.token_hex(4)}").resolve()
    own.mkdir(parents=True)
    trial = Trial(own, free_port() if is_taken(port) else port)
    try:
        run(trial, check=True)
    finally:
        print(f"collector {stop_collector(trial)}")
    shutil.rmtree(own)
    print("Every step did what it should.")


if __name__ == "__main__":
    main()
