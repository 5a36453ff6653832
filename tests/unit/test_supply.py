"""What the collector is installed from: pinned, hashed, licensed, listed."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
PINNED = ("requirements.txt", "requirements-build.txt")

LISTED_ON = {
    "python_version": "3.11",
    "python_full_version": "3.11.7",
    "sys_platform": "linux",
    "platform_system": "Linux",
    "platform_machine": "x86_64",
    "platform_python_implementation": "CPython",
    "implementation_name": "cpython",
    "os_name": "posix",
}
"""Where the bill of materials was made: some pins are for other systems."""


def pins(name: str) -> list[Requirement]:
    """Read the lines; each ends with its hashes."""
    text = (DEPLOY / name).read_text().replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    found = []
    for line in lines:
        requirement, *hashes = line.split(" --hash=")
        assert hashes, line
        assert all(
            re.fullmatch(r"sha256:[0-9a-f]{64}\s*", digest) for digest in hashes
        ), line
        found.append(Requirement(requirement))
    return found


@pytest.mark.parametrize("name", PINNED)
def test_every_line_pins_one_version_by_its_hashes(name: str) -> None:
    found = pins(name)

    assert len(found) > 3
    for one in found:
        assert re.fullmatch(r"==[0-9][\w.!+]*", str(one.specifier)), one


def test_the_pins_are_what_the_program_asks_for() -> None:
    told = tomllib.loads((ROOT / "pyproject.toml").read_text())
    extras = told["project"]["optional-dependencies"]
    asked = [
        Requirement(line) for name in ("collector", "postgres") for line in extras[name]
    ]
    pinned: dict[str, list[str]] = {}
    # A package may have another pin for an older Python.
    for pin in pins("requirements.txt"):
        (version,) = pin.specifier
        pinned.setdefault(canonicalize_name(pin.name), []).append(version.version)

    for one in asked:
        if one.name != "fadewatch":
            for found in pinned[canonicalize_name(one.name)]:
                assert one.specifier.contains(found), f"{one}: renew the pins"


@pytest.mark.parametrize("name", [*PINNED, "licences.md", "bom.json"])
def test_no_place_of_one_machine_is_written_down(name: str) -> None:
    text = (DEPLOY / name).read_text()

    assert not re.search(r"file:/|/tmp/|/home/|/root/|/opt/|127\.0\.0\.1", text)
    assert not re.search(r"--(extra-)?index-url|--find-links|trusted-host", text)


def listed() -> dict[str, str]:
    """Pins that are installed where the lists were made."""
    return {
        canonicalize_name(one.name): next(iter(one.specifier)).version
        for one in pins("requirements.txt")
        if one.marker is None or Marker(str(one.marker)).evaluate(LISTED_ON)
    }


def test_the_bill_of_materials_lists_exactly_the_pins() -> None:
    bom = json.loads((DEPLOY / "bom.json").read_text())

    assert (bom["bomFormat"], bom["metadata"]["component"]["name"]) == (
        "CycloneDX",
        "fadewatch",
    )
    parts = {
        canonicalize_name(part["name"]): part["version"]
        for part in bom["components"]
        if part["name"] not in {"fadewatch", "pip", "setuptools"}
    }
    assert parts == listed()


def test_every_package_has_its_licence() -> None:
    rows = re.findall(
        r"^\| \[([^]]+)\]\([^)]*\) \| (\S+) \| (.+) \|$",
        (DEPLOY / "licences.md").read_text(),
        re.MULTILINE,
    )

    assert {canonicalize_name(name): version for name, version, _ in rows} == listed()
    assert not [row for row in rows if row[2] in {"", "UNKNOWN"}]
