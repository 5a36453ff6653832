"""Commands and exit codes that need no collector."""

import json
from collections.abc import Sequence
from pathlib import Path

import pytest
from pydantic import TypeAdapter

from fadewatch_agent import cli
from fadewatch_agent.__main__ import main as whole_main
from fadewatch_agent.options import COMMANDS
from fadewatch_common import __version__
from fadewatch_common.report import Report
from tests.unit.agent.laptops import HEALTHY, empty_tree, supply


def run(*words: str | Path) -> int:
    return cli.main([str(word) for word in words])


@pytest.fixture
def laptop(tmp_path: Path) -> Path:
    root = empty_tree(tmp_path / "tree")
    supply(root, "BAT0", HEALTHY)
    return root


def test_read_prints_a_table(laptop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("read", "--root", laptop) == cli.DONE
    assert "wear                  14.0 %" in capsys.readouterr().out


def test_read_prints_a_report_that_a_collector_takes(
    laptop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("read", "--json", "--root", laptop) == cli.DONE

    report = TypeAdapter(Report).validate_json(capsys.readouterr().out, strict=True)

    assert report.packs[0].full_charge_capacity == 49_020


def test_read_without_a_pack_prints_the_rest_and_exits_3(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = empty_tree(tmp_path / "tree")
    (root / "proc/meminfo").write_text("MemTotal: 16310236 kB\n")

    assert run("read", "--root", root) == cli.NO_PACK == 3

    out = capsys.readouterr().out
    assert "No pack was found." in out
    assert "memory  15927 MiB in all" in out


def test_this_system_can_be_read(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("read", "--json") in (cli.DONE, cli.NO_PACK)

    assert json.loads(capsys.readouterr().out)["memory"]["total_mib"] > 0


def test_a_name_that_the_terminal_cannot_show_does_not_stop_it(
    laptop: Path, capsysbinary: pytest.CaptureFixture[bytes]
) -> None:
    supply(laptop, "BAT1", HEALTHY | {"manufacturer": "Zéta №"})

    assert run("read", "--root", laptop) == cli.DONE


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--version") == cli.DONE
    assert capsys.readouterr().out == f"{__version__}\n"


def test_help_names_the_commands(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--help") == cli.DONE

    out = capsys.readouterr().out
    assert all(f"\n  {command} " in out for command in COMMANDS)


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["weigh"],
        ["read", "--loud"],
        ["read", "--root", "/nowhere/at/all"],
        ["report", "--collector", "https://fade.example", "--patience", "long"],
        ["report", "--collector", "https://fade.example", "--patience", "-1"],
        ["report", "--collector", "https://fade.example", "--patience", "nan"],
    ],
)
def test_a_wrong_command_line_exits_2(
    words: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*words) == cli.WRONG_USAGE == 2
    assert capsys.readouterr().err.startswith("fadewatch-agent: ")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "no collector is set"),
        (["--collector", "http://fade.example"], "plain http would show the key"),
        (["--config", "/nowhere.toml"], "/nowhere.toml does not exist"),
    ],
)
def test_report_that_is_not_configured_exits_5(
    tmp_path: Path,
    words: Sequence[str],
    message: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    code = run("report", "--state", tmp_path / "state", *words)

    assert code == cli.NOT_CONFIGURED == 5
    assert message in capsys.readouterr().err
    assert not (tmp_path / "state").exists()


def test_a_state_folder_that_cannot_be_made_exits_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").touch()

    code = run(
        "report",
        "--collector",
        "https://fade.example",
        "--state",
        tmp_path / "file/state",
    )

    assert code == cli.FAILED == 1
    assert "Not a directory" in capsys.readouterr().err


def test_status_of_an_agent_that_never_ran(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("status", "--state", tmp_path / "none") == cli.DONE
    assert capsys.readouterr().out == (
        "No collector is set: run 'fadewatch-agent install --collector URL "
        "--token-file FILE', or drop a settings file.\n"
        "\n"
        "collector          not set\n"
        "enrolled           no\n"
        "last run           never\n"
        "last delivery      never\n"
        "reports waiting    0\n"
        "reports set aside  none\n"
        "last error         none\n"
    )
    assert not (tmp_path / "none").exists()


def test_status_of_a_damaged_queue_exits_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "spool.sqlite").write_bytes(b"x" * 5000)

    assert run("status", "--state", tmp_path) == cli.FAILED
    assert "not a database" in capsys.readouterr().err


def test_the_entry_point_gives_the_exit_code(
    monkeypatch: pytest.MonkeyPatch, laptop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["fadewatch-agent", "read", "--root", str(laptop)])

    assert whole_main() == cli.DONE
    assert "BAT0" in capsys.readouterr().out


def test_jitter_stays_within_its_range() -> None:
    drawn = [cli._jitter(8.0) for _ in range(200)]

    assert min(drawn) >= 0
    assert max(drawn) < 8
    assert len(set(drawn)) > 150
