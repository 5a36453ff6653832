"""The commands for notification routes, as a person runs them."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fadewatch_collector.cli.route import route_group

HOOK = "https://tickets.example/fadewatch"


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FADEWATCH_DATA_FOLDER", str(tmp_path / "data"))


def run(*arguments: str) -> Result:
    return CliRunner().invoke(route_group, arguments)


def test_a_route_is_made_listed_and_ended() -> None:
    made = run(
        "add", "mail", "desk@example.org", "--label", "the desk", "--urgency",
        "stop-use", "--urgency", "act", "--site", "South", "--site", "North",
        "--quiet", "20:00-06:30",
    )  # fmt: skip

    assert made.exit_code == 0
    assert "Route 1 is made." in made.stdout
    (line,) = run("list").stdout.splitlines()[1:]
    assert re.split(r"\s{2,}", line) == [
        "1",
        "the desk",
        "mail",
        "desk@example.org",
        "stop-use, act",
        "North, South",
        "20:00-06:30",
    ]
    assert run("end", "1").stdout == "Route 1 has ended.\n"
    assert "No route yet" in run("list").stdout


def test_a_route_without_options_is_for_everything_at_any_hour() -> None:
    run("add", "mail", "desk@example.org", "--label", "desk")

    (line,) = run("list").stdout.splitlines()[1:]

    assert re.split(r"\s{2,}", line)[4:] == ["all", "all"]


def test_a_mail_route_says_when_no_mail_server_is_set() -> None:
    made = run("add", "mail", "desk@example.org", "--label", "desk")

    assert "FADEWATCH_MAIL_HOST" in made.stderr


def test_a_webhooks_secret_is_printed_alone_once_and_not_listed() -> None:
    secret = run("add", "webhook", HOOK, "--label", "tickets").stdout.splitlines()[-1]

    assert re.fullmatch(r"fwh_[\w-]{43}", secret)
    assert secret not in run("list").stdout


@pytest.mark.parametrize(
    "wrong",
    [
        ("mail", "no address", "--label", "x"),
        ("webhook", "http://tickets.example/", "--label", "x"),
        ("mail", "a@example.org", "--label", "x", "--quiet", "07:00-07:00"),
    ],
)
def test_what_cannot_be_a_route_is_one_line_and_exit_code_1(
    wrong: tuple[str, ...],
) -> None:
    result = run("add", *wrong)

    assert result.exit_code == 1
    assert result.stderr.splitlines()[-1].startswith("fadewatch-collector: ")


@pytest.mark.parametrize("hours", ["22-06", "24:00-06:00", "22:00-06:60", "at night"])
def test_hours_that_are_none_are_a_wrong_option(hours: str) -> None:
    result = run("add", "mail", "a@example.org", "--label", "x", "--quiet", hours)

    assert result.exit_code == 2


def test_a_test_message_that_does_not_arrive_says_why(unused_tcp_port: int) -> None:
    run("add", "webhook", f"http://127.0.0.1:{unused_tcp_port}/", "--label", "gone")

    result = run("test", "1")

    assert result.exit_code == 1
    assert "the receiver cannot be reached" in result.stderr


def test_a_route_that_is_not_there_is_named() -> None:
    for command in ("end", "test"):
        result = run(command, "7")
        assert result.exit_code == 1
        assert "there is no route 7" in result.stderr
