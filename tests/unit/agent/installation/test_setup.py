"""Setting up and taking away, on a machine in memory."""

from pathlib import PurePosixPath, PureWindowsPath

import pytest

from fadewatch_agent.configuration import parse_settings
from fadewatch_agent.errors import InvalidConfiguration, NotSetUp
from fadewatch_agent.installation.plan import PlannedFile
from fadewatch_agent.installation.setup import install, uninstall
from fadewatch_agent.installation.systemd import OWN_UNITS, PRIVATE_STATE, STAMP
from fadewatch_agent.places import places_of
from tests.unit.agent.installation.made import (
    COLLECTOR,
    PROGRAM,
    WORD,
    host,
    seen,
    wanted,
)

SYSTEMS = ["linux", "darwin", "win32"]


@pytest.mark.parametrize("platform", SYSTEMS)
def test_settings_and_token_are_put_in_place(platform: str) -> None:
    machine, places = host(platform)

    install(machine, places, PROGRAM, wanted(), image=False)

    values = parse_settings(machine.files[places.settings].decode(), "settings")
    assert values == {"collector": COLLECTOR, "every": "6h"}
    assert machine.files[places.token] == f"{WORD}\n".encode()
    assert machine.modes[places.token] == 0o600


@pytest.mark.parametrize("platform", SYSTEMS)
def test_the_token_stands_nowhere_but_in_its_file(platform: str) -> None:
    machine, places = host(platform)

    install(machine, places, PROGRAM, wanted(), image=False)

    holders = [place for place, raw in machine.files.items() if WORD.encode() in raw]
    assert holders == [places.token]
    assert not any(WORD in word for words in machine.ran for word in words)


@pytest.mark.parametrize("platform", SYSTEMS)
def test_a_second_time_changes_no_file(platform: str) -> None:
    machine, places = host(platform)
    install(machine, places, PROGRAM, wanted(), image=False)
    before = seen(machine)
    machine.written.clear()

    install(machine, places, PROGRAM, wanted(token=None), image=False)

    assert seen(machine) == before
    assert machine.written == []


@pytest.mark.parametrize("platform", SYSTEMS)
def test_taking_it_away_leaves_nothing(platform: str) -> None:
    machine, places = host(platform)
    install(machine, places, PROGRAM, wanted(ca=b"-----"), image=False)
    machine.write(places.state / "enrolment.json", b"{}", 0o600)

    uninstall(machine, places, keep_state=False)

    assert (machine.files, machine.links) == ({}, {})
    uninstall(machine, places, keep_state=False)


def test_the_key_stays_when_that_is_asked_for() -> None:
    machine, places = host()
    key = PRIVATE_STATE / "enrolment.json"
    install(machine, places, PROGRAM, wanted(), image=False)
    machine.write(key, b"{}", 0o600)

    uninstall(machine, places, keep_state=True)

    assert list(machine.files) == [key]


def test_somebody_elses_command_of_the_same_name_stays() -> None:
    machine, places = host()
    command = PurePosixPath("/usr/local/bin/fadewatch-agent")
    machine.write(command, b"#!/bin/sh\nexec /opt/other/fadewatch-agent\n", 0o755)

    uninstall(machine, places, keep_state=False)

    assert command in machine.files


def test_the_timer_is_started_and_the_first_reading_asked_for() -> None:
    machine, places = host()

    install(machine, places, PROGRAM, wanted(), image=False)

    assert machine.ran == [
        ("systemctl", "daemon-reload"),
        (
            "systemctl",
            "restart",
            "fadewatch-agent.timer",
            "fadewatch-agent-first.timer",
            "fadewatch-agent.path",
        ),
        ("systemctl", "start", "--no-block", "fadewatch-agent.service"),
    ]
    wants = OWN_UNITS / "timers.target.wants" / "fadewatch-agent.timer"
    assert machine.links[wants] == str(OWN_UNITS / "fadewatch-agent.timer")


@pytest.mark.parametrize("platform", SYSTEMS)
def test_an_image_keeps_nothing_of_this_laptop_and_starts_nothing(
    platform: str,
) -> None:
    machine, places = host(platform)
    folder = PRIVATE_STATE if platform == "linux" else places.state
    for name in ("enrolment.json", "spool.sqlite", "state.json"):
        machine.write(folder / name, b"{}", 0o600)
    machine.write(STAMP, b"", 0o644)

    install(machine, places, PROGRAM, wanted(), image=True)

    assert machine.below(folder) == []
    assert platform != "linux" or STAMP not in machine.files
    words = {word for words in machine.ran for word in words}
    assert words.isdisjoint({"start", "restart", "bootstrap", "/Run"})
    assert places.token in machine.files


@pytest.mark.parametrize("image", [True, False])
def test_without_a_token_nothing_is_set_up(*, image: bool) -> None:
    machine, places = host()

    with pytest.raises(InvalidConfiguration, match="there is no token"):
        install(machine, places, PROGRAM, wanted(token=None), image=image)

    assert machine.files == {}


def test_an_enrolled_laptop_needs_no_token() -> None:
    machine, places = host()
    machine.write(PRIVATE_STATE / "enrolment.json", b"{}", 0o600)

    install(machine, places, PROGRAM, wanted(token=None), image=False)

    assert places.settings in machine.files


def test_an_image_that_was_enrolled_needs_a_token_all_the_same() -> None:
    machine, places = host()
    machine.write(PRIVATE_STATE / "enrolment.json", b"{}", 0o600)

    with pytest.raises(InvalidConfiguration, match="there is no token"):
        install(machine, places, PROGRAM, wanted(token=None), image=True)

    assert machine.below(PRIVATE_STATE) == ["enrolment.json"]


@pytest.mark.parametrize("platform", SYSTEMS)
def test_without_the_rights_nothing_is_touched(platform: str) -> None:
    machine, places = host(platform, has_rights=False)

    with pytest.raises(NotSetUp, match="rights of root"):
        install(machine, places, PROGRAM, wanted(), image=False)
    with pytest.raises(NotSetUp, match="rights of root"):
        uninstall(machine, places, keep_state=False)

    assert (machine.files, machine.ran) == ({}, [])


def test_a_machine_without_systemd_is_told_what_else_to_do() -> None:
    machine, places = host()
    machine.folders.clear()

    with pytest.raises(NotSetUp, match="fadewatch-agent watch"):
        install(machine, places, PROGRAM, wanted(), image=False)


def test_an_unknown_system_is_told_what_else_to_do() -> None:
    machine, places = host("sunos5")

    with pytest.raises(NotSetUp, match="fadewatch-agent watch"):
        install(machine, places, PROGRAM, wanted(), image=False)


@pytest.mark.parametrize(
    ("platform", "program"),
    [("linux", "systemctl"), ("darwin", "launchctl"), ("win32", "schtasks")],
)
def test_what_the_system_refuses_is_said(platform: str, program: str) -> None:
    machine, places = host(platform)
    machine.refuses = frozenset({program})

    with pytest.raises(NotSetUp, match=f"{program} .* failed: no"):
        install(machine, places, PROGRAM, wanted(), image=False)


def test_a_mounted_image_is_set_up_without_running_anything() -> None:
    machine, places = host(is_running=False)
    machine.folders.clear()

    install(machine, places, PROGRAM, wanted(), image=True)

    assert machine.ran == []
    assert OWN_UNITS / "timers.target.wants/fadewatch-agent.timer" in machine.links


def test_on_windows_only_the_service_and_administrators_get_at_token_and_key() -> None:
    machine, places = host("win32")

    install(machine, places, PROGRAM, wanted(), image=False)

    rights = [words for words in machine.ran if words[0] == "icacls"]
    assert [words[1] for words in rights] == [
        r"C:\ProgramData\Fadewatch",
        r"C:\ProgramData\Fadewatch\state",
    ]
    for words, right in zip(rights, ("RX", "M"), strict=True):
        assert "/inheritance:r" in words
        # SYSTEM, Administrators, LocalService: Microsoft's well-known SIDs.
        granted = [word for word in words if word.startswith("*S-1-")]
        assert granted == [
            "*S-1-5-18:(OI)(CI)F",
            "*S-1-5-32-544:(OI)(CI)F",
            f"*S-1-5-19:(OI)(CI){right}",
        ]
    assert places.state in machine.folders


def test_the_programs_files_are_put_in_place_and_compiled() -> None:
    machine, places = host()
    file = PlannedFile(places.program / "a.py", b"1")
    program = PROGRAM._replace(files=(file,))

    install(machine, places, program, wanted(), image=False)
    assert machine.files[file.place] == b"1"

    uninstall(machine, places, keep_state=False)
    assert file.place not in machine.files


def test_windows_places_follow_the_systems_own_variables() -> None:
    environment = {"PROGRAMDATA": r"D:\Data", "PROGRAMFILES": r"D:\Programs"}

    places = places_of("win32", environment)

    assert places.settings == PureWindowsPath(r"D:\Data\Fadewatch\agent.toml")
    assert places.program == PureWindowsPath(r"D:\Programs\Fadewatch")
