"""How much a whole ``report`` weighs beside a script of bare imports.

``python -m tests.benchmarks.agent_weight [--rounds N] [--check]``

Every round starts each program once, in turn, so that a busy moment hits all of them.
``--check`` exits 1 when a report takes more than 1.5 times the processor time of the
imports or 30 MiB of memory.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from tests.bundles import SINGLE_FILE, build_bundles
from tests.fakes.certificates import make_certificates, server_context
from tests.fakes.collector_server import collector_server
from tests.fixtures.trees import laid_out

TREE = "whole-laptop"
LONGEST_RATIO = 1.5
LARGEST_MIB = 30.0

REFERENCE = "imports of json, ssl, urllib.request, sqlite3"
REPORT = "report: read, queue, deliver, exit"
REPORT_TLS = "report over TLS"
BUNDLE = "report over TLS, bundle as it is installed"

_IMPORTS = "import json, ssl, urllib.request, sqlite3"
_AGENT = "import sys; from fadewatch_agent.__main__ import main; sys.exit(main())"

# A process of its own, without site packages: the peak memory that the kernel tells
# of a program includes that of the process that started it.
_RUNNER = """
import json, os, sys, time
rounds, programs = json.load(sys.stdin)
quiet = [(os.POSIX_SPAWN_OPEN, 1, "/dev/null", os.O_WRONLY, 0)]
runs = {name: [] for name in programs}
for _ in range(rounds):
    for name, words in programs.items():
        began = time.perf_counter()
        pid = os.posix_spawn(words[0], words, os.environ, file_actions=quiet)
        _, status, used = os.wait4(pid, 0)
        wall = time.perf_counter() - began
        runs[name].append((wall, used.ru_utime + used.ru_stime, used.ru_maxrss, status))
json.dump(runs, sys.stdout)
"""


@dataclass(frozen=True, slots=True)
class Weight:
    """What one program takes: seconds and MiB."""

    wall: float
    processor: float
    least_processor: float
    memory_mib: float


def weigh(rounds: int) -> dict[str, Weight]:
    """Run every program a number of times, in turn."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_certificates(folder)
        tls = server_context(folder)
        with collector_server() as plain, collector_server(tls) as secure:
            tree = laid_out(TREE, folder)
            (folder / "token").write_text("word-for-the-lab")
            programs = {
                "nothing (pass)": _python("pass"),
                REFERENCE: _python(_IMPORTS),
                "read": _python(_AGENT, "read", f"--root={tree}"),
                BUNDLE: _bundled(folder, tree, secure.url),
                REPORT: _report(folder, tree, plain.url),
                REPORT_TLS: _report(folder, tree, secure.url, _trust(folder)),
            }
            _run(folder, 1, programs)
            return _run(folder, rounds, programs)


def modules(names: Sequence[str]) -> dict[str, list[str]]:
    """Return the modules that the named programs load, in the order of loading."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make_certificates(folder)
        (folder / "token").write_text("word-for-the-lab")
        with collector_server(server_context(folder)) as secure:
            tree = laid_out(TREE, folder)
            programs = {
                REFERENCE: _python(_IMPORTS),
                REPORT_TLS: _report(folder, tree, secure.url, _trust(folder)),
            }
            return {name: _loaded(programs[name]) for name in names}


def _loaded(words: list[str]) -> list[str]:
    told = [words[0], "-X", "importtime", *words[1:]]
    ran = subprocess.run(told, capture_output=True, text=True, check=True)
    lines = [
        line for line in ran.stderr.splitlines() if line.startswith("import time:")
    ]
    return [line.rpartition("|")[2].strip() for line in lines[1:]]


def _trust(folder: Path) -> str:
    return f"--ca={folder / 'ca.pem'}"


def _python(code: str, *words: str) -> list[str]:
    return [sys.executable, "-c", code, *words]


def _bundled(folder: Path, tree: Path, url: str) -> list[str]:
    """Return a report by a bundle that was unpacked and compiled, as on a laptop."""
    with zipfile.ZipFile(build_bundles(folder / "dist") / SINGLE_FILE) as packed:
        packed.extractall(folder / "program")
    python = [sys.executable, "-I", "-S"]
    subprocess.run([*python, "-m", "compileall", "-q", folder / "program"], check=True)
    words = [f"--root={tree}", f"--state={folder / 'bundled'}", f"--collector={url}"]
    trust = [f"--token-file={folder / 'token'}", _trust(folder)]
    return [*python, str(folder / "program"), "report", *words, *trust, "--patience=0"]


def _report(folder: Path, tree: Path, url: str, *more: str) -> list[str]:
    state = folder / url.partition(":")[0]
    words = [f"--root={tree}", f"--state={state}", f"--collector={url}"]
    token = f"--token-file={folder / 'token'}"
    return _python(_AGENT, "report", *words, token, "--patience=0", *more)


def _run(
    folder: Path, rounds: int, programs: dict[str, list[str]]
) -> dict[str, Weight]:
    # Compiled once, as an installer does; the first round pays for it.
    environment = {
        "PATH": os.environ["PATH"],
        "PYTHONPYCACHEPREFIX": str(folder / "compiled"),
    }
    ran = subprocess.run(
        [sys.executable, "-I", "-S", "-c", _RUNNER],
        input=json.dumps((rounds, programs)),
        capture_output=True,
        text=True,
        check=True,
        env=environment,
    )
    runs = json.loads(ran.stdout)
    return {name: _weight(name, runs[name]) for name in programs}


def _weight(name: str, runs: list[tuple[float, float, int, int]]) -> Weight:
    walls, processors, kibs, statuses = zip(*runs, strict=True)
    if any(statuses) and name != "read":
        raise RuntimeError(f"{name} failed: {statuses}")
    return Weight(median(walls), median(processors), min(processors), max(kibs) / 1024)


def table(weights: dict[str, Weight]) -> str:
    """Lay the figures side by side, as ratios to the bare imports."""
    bare = weights[REFERENCE]
    head = f"{'':<48}{'wall':>9}{'x':>6}{'processor':>12}{'x':>6}{'least x':>9}{'peak':>10}"
    rows = [
        f"{name:<48}{w.wall * 1e3:>6.1f} ms{w.wall / bare.wall:>6.2f}"
        f"{w.processor * 1e3:>9.1f} ms{w.processor / bare.processor:>6.2f}"
        f"{w.least_processor / bare.least_processor:>9.2f}{w.memory_mib:>6.1f} MiB"
        for name, w in weights.items()
    ]
    return "\n".join((head, *rows))


def main(words: Sequence[str] | None = None) -> int:
    """Print the table; with --check judge it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=21)
    parser.add_argument("--check", action="store_true")
    chosen = parser.parse_args(words)
    weights = weigh(chosen.rounds)
    print(table(weights))
    report, bare = weights[REPORT], weights[REFERENCE]
    ratio = report.processor / bare.processor
    light = ratio <= LONGEST_RATIO and report.memory_mib <= LARGEST_MIB
    return 0 if light or not chosen.check else 1


if __name__ == "__main__":
    sys.exit(main())
