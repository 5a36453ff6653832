"""The agent on Windows's own Python, with Wine in place of Windows.

What is shown is that the agent loads, that its calls of kernel32 and setupapi are made
as a Windows Python makes them, and that queue, lock and key work on Windows's files.
What a driver of a real laptop answers is not shown: Wine has no battery.
"""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from pydantic import TypeAdapter

from fadewatch_agent import cli
from fadewatch_common.report import Report
from tests.bundles import build_bundles
from tests.fakes.collector_server import CollectorServer, Say, collector_server
from tests.windows import stub, stubbed
from tests.windows.wine import ROOT, NoWineError, Wine, ready_wine, windows_path

# A second or two each, and many times that on a busy machine.
pytestmark = [pytest.mark.wine, pytest.mark.timeout(180)]

STATE = "queue of Größe"
"""A folder whose name has a blank and more than ASCII."""

START = windows_path(ROOT / "tests/windows/start.py")


@pytest.fixture(scope="module")
def wine() -> Iterator[Wine]:
    try:
        ready = ready_wine()
    except NoWineError as reason:
        pytest.skip(f"no Windows Python on Wine here: {reason}")
    yield ready
    ready.stop()


@pytest.fixture
def collector() -> Iterator[CollectorServer]:
    with collector_server() as server:
        yield server


def agent(wine: Wine, *words: str) -> tuple[int, str, str]:
    ran = wine.run(START, "fadewatch_agent", *words)
    return ran.returncode, ran.stdout, ran.stderr


def settings(folder: Path, collector: CollectorServer) -> list[str]:
    (folder / "token").write_text("word-for-the-lab\n")
    return [
        f"--collector={collector.url}",
        f"--token-file={windows_path(folder / 'token')}",
        f"--state={windows_path(folder / STATE)}",
    ]


def told(wine: Wine, *words: str) -> dict[str, Any]:
    code, out, err = agent(wine, *words)
    assert code == cli.DONE, err
    shown: dict[str, Any] = json.loads(out)
    return shown


@pytest.mark.skipif(not stub.has(stub.WINDOWS), reason=f"no {stub.WINDOWS} here")
def test_a_dll_built_with_the_windows_headers_is_read_through_windll(
    wine: Wine, tmp_path: Path
) -> None:
    library = stub.build(stub.WINDOWS, tmp_path / "stub.dll")

    ran = wine.run(START, "tests.windows.read_stub", windows_path(library))

    assert ran.returncode == 0, ran.stderr
    assert json.loads(ran.stdout) == stubbed.EXPECTED


def test_read_asks_the_systems_own_libraries_and_finds_no_pack(wine: Wine) -> None:
    code, out, err = agent(wine, "read", "--json")

    assert code == cli.NO_PACK, err
    report = TypeAdapter(Report).validate_json(out)
    assert report.agent.platform.startswith("Windows 10.")
    assert report.laptop.hostname
    assert report.memory is not None
    assert report.memory.total_mib > 256
    assert report.packs == ()
    assert not [remark for remark in report.remarks if "SetupDi" in remark]


def test_a_report_enrols_and_arrives_and_the_next_one_uses_the_key(
    wine: Wine, collector: CollectorServer, tmp_path: Path
) -> None:
    words = settings(tmp_path, collector)

    for _ in range(2):
        code, out, err = agent(wine, "report", "--patience=0", *words)
        assert (code, out) == (cli.DONE, "delivered 1\n"), err

    assert [heard.path for heard in collector.heard] == [
        "/api/v1/enrol",
        "/api/v1/reports",
        "/api/v1/reports",
    ]
    assert len(set(collector.heard_ids())) == 2
    standing = told(wine, "status", "--json", *words)
    assert (standing["enrolled"], standing["queued"]) == (True, 0)


def test_what_cannot_be_delivered_waits_and_arrives_later(
    wine: Wine, collector: CollectorServer, tmp_path: Path
) -> None:
    words = settings(tmp_path, collector)
    usual = collector.answer
    collector.answer = lambda _: Say(503)
    assert agent(wine, "report", "--patience=0", *words)[0] == cli.QUEUED
    collector.answer = usual

    code, out, err = agent(wine, "report", "--patience=0", *words)

    assert (code, out) == (cli.DONE, "delivered 2\n"), err


def test_a_damaged_queue_is_set_aside_and_begun_anew(
    wine: Wine, collector: CollectorServer, tmp_path: Path
) -> None:
    words = settings(tmp_path, collector)
    state = tmp_path / STATE
    state.mkdir()
    (state / "spool.sqlite").write_bytes(b"no queue at all " * 400)

    code, out, err = agent(wine, "report", "--patience=0", *words)

    assert (code, out) == (cli.DONE, "delivered 1\n"), err
    assert (state / "spool.sqlite.damaged").exists()
    (report,) = collector.heard[-1].body["reports"]
    assert "queue file damaged and begun anew, times: 1" in report["remarks"]


def test_one_run_at_a_time(
    wine: Wine, collector: CollectorServer, tmp_path: Path
) -> None:
    words = settings(tmp_path, collector)
    state = windows_path(tmp_path / STATE)
    with wine.start(START, "tests.windows.lock_holder", state) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == "held"

        code, out, err = agent(wine, "report", "--patience=0", *words)
        holder.communicate(timeout=20)

    assert (code, out) == (cli.DONE, "another report is running; nothing to do\n"), err
    assert collector.heard == []
    assert agent(wine, "report", "--patience=0", *words)[1] == "delivered 1\n"


def test_a_record_is_replaced_as_soon_as_its_reader_lets_go(
    wine: Wine, tmp_path: Path
) -> None:
    folder = windows_path(tmp_path)

    ran = wine.run(START, "tests.windows.replaced_while_read", folder)

    assert ran.stdout == "new\n", ran.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["state.json"]


def test_a_saved_tree_of_linux_is_refused_with_the_reason(wine: Wine) -> None:
    code, _, err = agent(wine, "read", "--root=Z:\\tmp")

    assert code == cli.FAILED
    assert "a saved tree of Linux can be read on Linux alone" in err


@pytest.fixture
def carried(wine: Wine, tmp_path: Path) -> Path:
    """Return the folder for Windows, with a Python in it, as an administrator builds it."""
    archive = shutil.make_archive(str(tmp_path / "python"), "zip", wine.python.parent)
    built = build_bundles(tmp_path / "dist", "--windows-python", Path(archive))
    return built / "windows"


def test_install_sets_a_task_up_that_reports_and_uninstall_takes_all_of_it_away(
    wine: Wine, carried: Path, collector: CollectorServer, tmp_path: Path
) -> None:
    drive = wine.prefix / "drive_c"
    data, program = drive / "ProgramData/Fadewatch", drive / "Program Files/Fadewatch"
    scheduled = drive / "windows/system32/tasks/Fadewatch/Report"
    (tmp_path / "token").write_text("word-for-the-lab\n")
    # What set-up.cmd and take-away.cmd run.
    here = ("-I", "-S", windows_path(carried))
    taken = carried / "python/python.exe"
    wine.run(*here, "uninstall", python=taken)

    options = [
        f"--collector={collector.url}",
        f"--token-file={windows_path(tmp_path / 'token')}",
    ]
    ran = wine.run(*here, "install", *options, python=taken)

    assert ran.returncode == cli.DONE, ran.stderr
    assert scheduled.exists()
    task = ET.fromstring((data / "task.xml").read_text("utf-16"))  # noqa: S314  our own
    (command,) = (e.text for e in task.iter() if e.tag.endswith("}Command"))
    (words,) = (e.text for e in task.iter() if e.tag.endswith("}Arguments"))
    assert command == "C:\\Program Files\\Fadewatch\\python\\python.exe"
    assert words is not None
    assert words.startswith('-I -S "C:\\Program Files\\Fadewatch" report')

    # The timer itself is not waited for; its command is run without the random delay.
    installed = ("-I", "-S", "C:\\Program Files\\Fadewatch")
    ran = wine.run(*installed, "report", python=program / "python/python.exe")
    assert (ran.returncode, ran.stdout) == (cli.DONE, "delivered 1\n"), ran.stderr
    assert len(collector.heard_ids()) == 1

    ran = wine.run(*here, "uninstall", python=taken)
    assert ran.returncode == cli.DONE, ran.stderr
    assert [place for place in (data, program, scheduled) if place.exists()] == []
