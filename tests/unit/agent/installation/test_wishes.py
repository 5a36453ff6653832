"""Who decides about a setting: the command line, a dropped file, what was there."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from fadewatch_agent.errors import InvalidConfiguration
from fadewatch_agent.installation.wishes import Kept, Wishes, wishes

CERTIFICATE = "-----BEGIN CERTIFICATE-----\nMAA=\n-----END CERTIFICATE-----\n"


def wished(
    folder: Path,
    dropped: str | None = None,
    options: Mapping[str, str] | None = None,
    token: str | None = None,
    kept: Kept | None = None,
) -> Wishes:
    file = folder / "agent.toml"
    if dropped is not None:
        file.write_text(dropped)
    return wishes(options or {}, token, file, kept or Kept())


def test_a_dropped_file_is_all_that_it_takes(tmp_path: Path) -> None:
    made = wished(
        tmp_path, 'collector = "https://fade.example"\ntoken = "word"\nevery = "12h"\n'
    )

    assert made.settings.collector == "https://fade.example"
    assert made.settings.every_minutes == 720
    assert made.token == "word"  # noqa: S105


def test_files_that_a_dropped_file_names_stand_beside_it(tmp_path: Path) -> None:
    (tmp_path / "ours.pem").write_text(CERTIFICATE)
    (tmp_path / "word.txt").write_text("word\n")

    made = wished(
        tmp_path,
        'collector = "https://fade.example"\nca = "ours.pem"\ntoken_file = "word.txt"\n',
    )

    assert (made.token, made.ca) == ("word", CERTIFICATE.encode())


def test_options_come_before_the_dropped_file_and_it_before_what_was_there(
    tmp_path: Path,
) -> None:
    kept = Kept(
        {"collector": "https://c.example", "every": "1h", "proxy": "http://p:1"}
    )

    made = wished(
        tmp_path,
        'collector = "https://b.example"\nevery = "3h"\ntoken = "dropped"\n',
        {"collector": "https://a.example"},
        "given",
        kept,
    )

    assert made.settings.collector == "https://a.example"
    assert made.settings.every_minutes == 180
    assert made.settings.proxy == "http://p:1"
    assert made.token == "given"  # noqa: S105


def test_what_was_there_stays_when_nothing_else_is_said(tmp_path: Path) -> None:
    kept = Kept({"collector": "https://c.example"}, "word", b"certificates")

    made = wished(tmp_path, kept=kept)

    assert made.settings.collector == "https://c.example"
    assert (made.token, made.ca) == ("word", b"certificates")


def test_without_a_collector_it_says_both_ways_to_name_one(tmp_path: Path) -> None:
    with pytest.raises(InvalidConfiguration, match="--collector URL, or put a file"):
        wished(tmp_path)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"every": "7h"}, "must be one of 15m, 20m, 30m, 1h"),
        ({"every": "6"}, "must be one of"),
        ({"ca": "/nowhere.pem"}, "cannot be read"),
        ({"proxy": "proxy"}, "proxy must be an address"),
        ({"collector": "http://fade.example"}, "plain http"),
    ],
)
def test_what_cannot_be_used_is_named_before_anything_is_touched(
    tmp_path: Path, options: dict[str, str], message: str
) -> None:
    usual = {"collector": "https://fade.example"}

    with pytest.raises(InvalidConfiguration, match=message):
        wished(tmp_path, options=usual | options)


def test_a_file_without_certificates_is_refused(tmp_path: Path) -> None:
    (tmp_path / "ca.pem").write_text("no certificate")

    with pytest.raises(InvalidConfiguration, match="holds no certificate"):
        wished(tmp_path, 'collector = "https://fade.example"\nca = "ca.pem"\n')


def test_a_proxys_password_is_not_shown(tmp_path: Path) -> None:
    with pytest.raises(InvalidConfiguration) as raised:
        wished(
            tmp_path, 'collector = "https://fade.example"\nproxy = "ftp://a:open@p"\n'
        )

    assert "open" not in str(raised.value)
