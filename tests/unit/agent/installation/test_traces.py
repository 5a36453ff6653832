"""Whether an image may be copied."""

from collections.abc import Callable

import pytest

from fadewatch_agent.installation.setup import install
from fadewatch_agent.installation.systemd import OWN_UNITS, PRIVATE_STATE, STAMP
from fadewatch_agent.installation.traces import image_problems
from fadewatch_agent.places import Places
from tests.fakes.host import FakeHost
from tests.unit.agent.installation.made import PROGRAM, host, wanted

SERVICE = OWN_UNITS / "fadewatch-agent.service"


def prepared() -> tuple[FakeHost, Places]:
    machine, places = host(is_running=False)
    install(machine, places, PROGRAM, wanted(), image=True)
    return machine, places


def test_an_image_that_was_just_prepared_is_clean() -> None:
    machine, places = prepared()

    assert image_problems(machine, places, SERVICE) == []


@pytest.mark.parametrize("folder", ["state", "private"])
@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("enrolment.json", "the key and the identity"),
        ("spool.sqlite", "readings that wait"),
        ("spool.sqlite-journal", "left by a run"),
        ("spool.sqlite.damaged", "left by a run"),
        ("state.json", "the packs' identities"),
        ("bench.json", "what a collector said"),
        ("lock", "left by a run"),
        ("anything/else", "left by a run"),
    ],
)
def test_every_file_that_a_run_leaves_is_named(
    folder: str, name: str, what: str
) -> None:
    machine, places = prepared()
    place = (places.state if folder == "state" else PRIVATE_STATE) / name
    machine.write(place, b"{}", 0o600)

    problems = image_problems(machine, places, SERVICE)

    assert any(str(place) in p and what in p for p in problems)


def test_the_moment_when_the_timer_fired_is_a_trace_too() -> None:
    machine, places = prepared()
    machine.write(STAMP, b"", 0o644)

    (problem,) = image_problems(machine, places, SERVICE)

    assert problem.startswith(f"{STAMP} is there")


def no_token(machine: FakeHost, places: Places) -> None:
    machine.remove(places.token)


def blank_token(machine: FakeHost, places: Places) -> None:
    machine.write(places.token, b"\n", 0o600)


def open_token(machine: FakeHost, places: Places) -> None:
    machine.write(places.token, b"word\n", 0o644)


def open_settings(machine: FakeHost, places: Places) -> None:
    text = b'collector = "https://fade.example"\ntoken = "word"\n'
    machine.write(places.settings, text, 0o644)


def no_settings(machine: FakeHost, places: Places) -> None:
    machine.remove(places.settings)


def no_collector(machine: FakeHost, places: Places) -> None:
    machine.write(places.settings, b"", 0o644)


def damaged_settings(machine: FakeHost, places: Places) -> None:
    machine.write(places.settings, b"collector", 0o644)


def no_timer(machine: FakeHost, places: Places) -> None:
    assert places
    machine.remove(SERVICE)


@pytest.mark.parametrize(
    ("spoil", "what"),
    [
        (no_token, "holds no token: laptops could not enrol"),
        (blank_token, "holds no token"),
        (open_token, "every user may read it"),
        (open_settings, "every user may read it"),
        (no_settings, "would not know their collector"),
        (no_collector, "names no collector"),
        (damaged_settings, "agent.toml: "),
        (no_timer, "nothing would start the agent"),
    ],
)
def test_what_would_keep_laptops_from_appearing_is_named(
    spoil: Callable[[FakeHost, Places], None], what: str
) -> None:
    machine, places = prepared()
    spoil(machine, places)

    (problem,) = image_problems(machine, places, SERVICE)

    assert what in problem


def test_a_token_among_settings_that_nobody_else_reads_is_as_good() -> None:
    machine, places = prepared()
    machine.remove(places.token)
    text = b'collector = "https://fade.example"\ntoken = "word"\n'
    machine.write(places.settings, text, 0o600)

    assert image_problems(machine, places, SERVICE) == []
