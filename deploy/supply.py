"""Renew, prove and audit what the collector is installed from.

    python3 deploy/supply.py renew    # the pins with hashes, licences, bill of materials
    python3 deploy/supply.py prove    # install from the pins into a clean folder, serve
    python3 deploy/supply.py audit    # known vulnerabilities; asks an advisory service

`renew` writes deploy/requirements.txt and deploy/requirements-build.txt (for Python
3.11 and newer on every system), deploy/licences.md and deploy/bom.json (CycloneDX,
validated against its schema). It fails on a licence that nobody has looked at yet.
Needs Python 3.11, a package registry, and for `audit` an advisory service.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
import venv
from pathlib import Path

DEPLOY = Path(__file__).resolve().parent
ROOT = DEPLOY.parent
REQUIREMENTS = DEPLOY / "requirements.txt"
BUILD_REQUIREMENTS = DEPLOY / "requirements-build.txt"
LICENCES = DEPLOY / "licences.md"
BOM = DEPLOY / "bom.json"

TOOLS = (
    "cyclonedx-bom>=7.5,<8",
    "pip-audit>=2.10,<3",
    "pip-licenses>=5.5,<6",
    "uv>=0.9",
)

EXPECTED = {
    "0BSD", "Apache-2.0", "Apache Software License", "BSD License", "BSD-2-Clause",
    "BSD-3-Clause", "CC0-1.0", "MIT", "MIT License", "MIT-0", "PSF-2.0",
    "Python Software Foundation License", "Zlib",
}  # fmt: skip
"""Licences that ask for no more than to be named. Own choice."""

START_S = 60.0


def main() -> int:
    """Do what is asked for and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    acts = {"renew": renew, "prove": prove, "audit": audit}
    parser.add_argument("act", choices=acts)
    with tempfile.TemporaryDirectory(prefix="fadewatch-supply-") as folder:
        return acts[parser.parse_args().act](Path(folder))


def renew(folder: Path) -> int:
    """Write the pins, the licences and the bill of materials."""
    tools = _tools(folder)
    _pin(tools, ROOT / "pyproject.toml", REQUIREMENTS, "--extra=postgres")
    build = folder / "build.in"
    build.write_text("hatchling>=1.27\n")
    _pin(tools, build, BUILD_REQUIREMENTS)
    python = _installed(folder)
    unexpected = _write_licences(tools, python)
    _run(
        tools / "cyclonedx-py", "environment", "--pyproject", ROOT / "pyproject.toml",
        "--output-reproducible", "--validate", "--of", "JSON", "-o", BOM, python,
    )  # fmt: skip
    for line in unexpected:
        print(f"look at this licence: {line}", file=sys.stderr)
    return 1 if unexpected else 0


def prove(folder: Path) -> int:
    """Install from the pins with every hash compared, and serve."""
    python = _installed(folder)
    command = python.with_name("fadewatch-collector")
    environment = os.environ | {
        "FADEWATCH_DATA_FOLDER": str(folder / "data"),
        "FADEWATCH_PORT": "0",
    }
    log = folder / "log"
    with log.open("wb") as lines:
        service = subprocess.Popen(
            [command, "serve"], env=environment, stdout=lines, stderr=lines, cwd=folder
        )
    try:
        answer = _ready(service, log)
    finally:
        service.terminate()
        service.wait(30)
    print(f"installed from {REQUIREMENTS.name} alone; the collector answers {answer}")
    return 0


def audit(folder: Path) -> int:
    """Ask an advisory service about every pin."""
    return subprocess.run(
        [
            _tools(folder) / "pip-audit", "--require-hashes", "--disable-pip",
            "--vulnerability-service", "osv", "-r", REQUIREMENTS,
        ],
        check=False,
    ).returncode  # fmt: skip


def _tools(folder: Path) -> Path:
    python = _new_environment(folder / "tools")
    _run(python, "-m", "pip", "install", "-q", *TOOLS)
    return python.parent


def _pin(tools: Path, source: Path, target: Path, *more: str) -> None:
    _run(
        tools / "uv", "pip", "compile", "-q", source, *more, "--universal",
        "--python-version", "3.11", "--generate-hashes", "--no-annotate", "--upgrade",
        "--custom-compile-command", "python3 deploy/supply.py renew", "-o", target,
    )  # fmt: skip


def _installed(folder: Path) -> Path:
    """Build the program with the pinned tools; install it with the pins alone."""
    builder = _new_environment(folder / "builder")
    _install(builder, BUILD_REQUIREMENTS)
    wheels = folder / "wheels"
    _run(
        builder, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation",
        "-w", wheels, ROOT,
    )  # fmt: skip
    python = _new_environment(folder / "clean")
    _install(python, REQUIREMENTS)
    (wheel,) = wheels.glob("fadewatch-*.whl")
    _run(python, "-m", "pip", "install", "-q", "--no-deps", wheel)
    _run(python, "-m", "pip", "check")
    return python


def _install(python: Path, requirements: Path) -> None:
    _run(python, "-m", "pip", "install", "-q", "--require-hashes", "-r", requirements)


def _new_environment(folder: Path) -> Path:
    venv.create(folder, with_pip=True)
    return folder / "bin" / "python"


def _run(*words: str | Path) -> None:
    subprocess.run(words, check=True)


def _write_licences(tools: Path, python: Path) -> list[str]:
    """Write the table; returns the lines with a licence that is not expected."""
    told = subprocess.run(
        [tools / "pip-licenses", "--python", python, "--format=json", "--with-urls"],
        check=True,
        capture_output=True,
    ).stdout
    found = sorted(json.loads(told), key=lambda one: one["Name"].lower())
    lines = [
        f"| [{one['Name']}]({one['URL']}) | {one['Version']} | {one['License']} |"
        for one in found
        if one["Name"] != "fadewatch"
    ]
    head = (
        "# Licences of what the collector is installed from\n\n"
        "Written by `python3 deploy/supply.py renew`, as the packages declare them. "
        "The agent needs the standard library alone.\n\n"
        "| package | version | licence |\n|---|---|---|\n"
    )
    LICENCES.write_text(head + "\n".join(lines) + "\n")
    return [line for line in lines if not _is_expected(line.split(" | ")[-1][:-2])]


def _is_expected(licence: str) -> bool:
    # "A OR B" offers a choice, "A AND B" asks for both.
    choices = (choice.split(" AND ") for choice in licence.split(" OR "))
    return any({part.strip("() ") for part in parts} <= EXPECTED for parts in choices)


def _ready(service: subprocess.Popen[bytes], log: Path) -> str:
    """Wait until the collector says that it is ready, at the address it logged."""
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline and service.poll() is None:
        time.sleep(0.2)
        for word in log.read_text().replace('"', " ").split():
            if word.startswith("http://127.0.0.1:"):
                try:
                    with urllib.request.urlopen(f"{word}/readyz", timeout=5) as answer:
                        return f"{answer.status} at /readyz"
                except urllib.error.URLError:
                    continue
    raise SystemExit(f"the collector does not answer:\n{log.read_text()}")


if __name__ == "__main__":
    sys.exit(main())
