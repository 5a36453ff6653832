"""The units: their text, and what systemd itself says of them."""

import re
import shutil
import subprocess
from configparser import RawConfigParser
from itertools import pairwise
from pathlib import Path, PurePosixPath

import pytest

from fadewatch_agent.installation import systemd

COMMAND = systemd.quoted("/usr/bin/python3", "-I", "-S", "/usr/lib/fadewatch-agent")
PERIODS = [15, 20, 30, 60, 120, 180, 240, 360, 480, 720, 1440]

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not here"
)


def units(minutes: int = 360) -> dict[str, str]:
    return systemd.units(
        COMMAND,
        PurePosixPath("/etc/fadewatch/agent.toml"),
        PurePosixPath("/etc/fadewatch/token"),
        minutes,
    )


def written(folder: Path, minutes: int = 360) -> list[str]:
    for name, text in units(minutes).items():
        (folder / name).write_text(text)
    return [str(folder / name) for name in units()]


def analyze(*words: str) -> str:
    done = subprocess.run(
        ["systemd-analyze", "--no-pager", *words],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout + done.stderr


def test_the_service_has_its_own_account_and_no_capability() -> None:
    text = units()["fadewatch-agent.service"]

    assert "\nDynamicUser=yes\n" in text
    assert "\nCapabilityBoundingSet=\n" in text
    assert "\nAmbientCapabilities=\n" in text
    assert "User=root" not in text


def test_what_only_root_reads_is_lent_and_may_be_missing() -> None:
    text = units()["fadewatch-agent.service"]

    lent = dict(re.findall(r"^LoadCredential=([^:]+):(.+)$", text, re.MULTILINE))
    assert lent == {
        "agent.toml": "/etc/fadewatch/agent.toml",
        "token": "/etc/fadewatch/token",
        "DMI": "/sys/firmware/dmi/tables/DMI",
        "smbios_entry_point": "/sys/firmware/dmi/tables/smbios_entry_point",
    }
    spared = re.findall(r"^SetCredential=([^:]+):", text, re.MULTILINE)
    # Without its settings the service does not start at all.
    assert set(spared) == lent.keys() - {"agent.toml"}
    assert "\nConditionPathExists=/etc/fadewatch/agent.toml\n" in text


def test_the_timer_makes_up_for_what_it_missed_and_is_spread() -> None:
    parser = RawConfigParser()
    parser.read_string(units()["fadewatch-agent.timer"])

    timer = dict(parser["Timer"])
    assert timer["persistent"] == "yes"
    assert timer["randomizeddelaysec"] == "60min"
    assert timer["oncalendar"] == "*-*-* 00/6:00:00"


def test_the_first_reading_is_for_laptops_that_are_not_enrolled() -> None:
    text = units()["fadewatch-agent-first.timer"]

    kept = "/var/lib/private/fadewatch-agent/enrolment.json"
    assert f"ConditionPathExists=!{kept}\n" in text


def test_words_with_blanks_and_signs_stay_one_word_each() -> None:
    assert systemd.quoted("/opt/my agent/run", "100%", "$x") == (
        '"/opt/my agent/run" 100%% $$x'
    )


@needs_systemd
def test_systemd_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    said = analyze("verify", *written(tmp_path))

    # It looks for the program, which need not be on the machine that tests.
    complaints = [line for line in said.splitlines() if "not executable" not in line]
    assert [line for line in complaints if str(tmp_path) in line] == []


@needs_systemd
def test_the_service_is_exposed_by_2_0_at_most(tmp_path: Path) -> None:
    service = next(name for name in written(tmp_path) if name.endswith(".service"))

    said = analyze("security", "--offline=yes", service)

    exposure = re.search(r"Overall exposure level for \S+ (\d+\.\d)", said)
    assert exposure is not None
    assert float(exposure[1]) <= 2.0, said


@needs_systemd
@pytest.mark.parametrize("minutes", PERIODS)
def test_systemd_fires_as_often_as_was_asked(minutes: int) -> None:
    said = analyze("calendar", "--iterations=3", systemd.calendar(minutes))

    times = re.findall(r"(?:elapse|#\d): \w+ (\S+) (\d+):(\d+):\d+", said)
    assert len(times) == 3, said
    moments = [int(hour) * 60 + int(minute) for _, hour, minute in times]
    gaps = {(b - a) % 1440 for a, b in pairwise(moments)}
    assert gaps == {minutes % 1440}
