"""The bench check on saved trees: verdict, exit code, what it rests on."""

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fadewatch_agent import cli
from fadewatch_agent.asking import FILE, PATH
from fadewatch_agent.state import write_record
from fadewatch_common.bench.facts import BenchFigures, TypeFade, TypicalFade
from fadewatch_common.cautions import FIGURES_ARE_A_PROXY, STOP_USE_CAUTIONS
from fadewatch_common.encoding import to_plain
from fadewatch_common.policy import DEFAULT_POLICY
from fadewatch_common.signs import SIGNS
from tests.fakes.collector_server import CollectorServer, Say, collector_server, problem
from tests.fixtures.trees import laid_out
from tests.unit.agent.laptops import block_device, empty_tree, supply, without

NEW_PACK = without(
    status="Charging", cycle_count="2", energy_full="56800000", serial_number="00999"
)
WORN = without(status="Charging", energy_full="30000000", cycle_count="700")


def tree(root: Path, pack: dict[str, str] | None) -> Path:
    """Write a laptop on mains with 16 GiB, half a terabyte, and a pack."""
    empty_tree(root)
    (root / "proc/meminfo").write_text("MemTotal: 16310236 kB\n")
    block_device(root, "nvme0n1", {"size": "1000215216", "removable": "0"})
    supply(root, "ADP0", {"online": "1"}, kind="Mains")
    if pack is not None:
        supply(root, "BAT0", pack)
    return root


def bench(*words: str | Path) -> int:
    return cli.main(["bench", *map(str, words)])


@dataclass
class Desk:
    """A laptop on the bench with a state folder of its own."""

    root: Path
    state: Path
    capture: pytest.CaptureFixture[str]
    more: tuple[str, ...] = ()

    def fit(self, pack: dict[str, str]) -> None:
        supply(self.root, "BAT0", pack)

    def check(self, *words: str) -> dict[str, Any]:
        self.capture.readouterr()
        places = (f"--root={self.root}", f"--state={self.state}")
        code = bench("--json", *places, *self.more, *words)
        told: dict[str, Any] = json.loads(self.capture.readouterr().out)
        assert told["exit_code"] == code
        return told


@pytest.fixture
def desk(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Desk:
    return Desk(tree(tmp_path / "tree", WORN), tmp_path / "state", capsys)


def sentences(told: dict[str, Any], severity: str) -> str:
    found = (one for one in told["remarks"] if one["severity"] == severity)
    return "\n".join(one["sentence"] for one in found)


@pytest.mark.parametrize(
    ("pack", "code", "verdict"),
    [
        (NEW_PACK, 0, "Ready\n"),
        (NEW_PACK | {"status": "Discharging"}, 10, "Ready with remarks\n"),
        (WORN, 20, "Not ready: 1 thing stands in the way\n"),
        (None, 20, "Not ready: 1 thing stands in the way\n"),
    ],
)
def test_the_exit_code_is_the_verdicts(
    pack: dict[str, str] | None,
    code: int,
    verdict: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert bench("--root", tree(tmp_path / "tree", pack)) == code
    assert capsys.readouterr().out.startswith(verdict)


def test_the_text_fits_80_columns_and_always_names_the_signs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, pack in (("new", NEW_PACK), ("worn", WORN)):
        bench("--root", tree(tmp_path / name, pack))

        out = capsys.readouterr().out
        assert max(map(len, out.splitlines())) < 80
        assert all(f"{sign}?" in out for sign in SIGNS.values())
        assert FIGURES_ARE_A_PROXY in out.replace("\n", " ")


def test_a_pack_past_the_replace_threshold_comes_with_the_cautions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench("--root", tree(tmp_path / "tree", WORN))

    out = capsys.readouterr().out
    # 1 - 30000 / 57000 = 0.4737
    assert "Wear is 47.4 % (by one reading), past the replace" in out
    assert all(caution in out for caution in STOP_USE_CAUTIONS)


def test_years_of_service_change_the_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    used = without(status="Charging", energy_full="51300000")  # wear 10 %
    root = tree(tmp_path / "tree", used)

    assert bench("--root", root, "--service-years", "3") == 20
    assert bench("--root", root, "--service-years", "1") == 0
    assert "1 year of service about 20 % is" in capsys.readouterr().out


@pytest.mark.parametrize("years", ["soon", "-1", "11", "nan"])
def test_years_that_cannot_be_are_wrong_usage(
    years: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = tree(tmp_path / "tree", NEW_PACK)

    assert bench("--root", root, f"--service-years={years}") == cli.WRONG_USAGE
    assert "--service-years" in capsys.readouterr().err


def test_a_new_pack_is_compared_with_the_one_seen_before(desk: Desk) -> None:
    assert desk.check()["verdict"] == "not-ready"
    desk.fit(NEW_PACK)

    first = desk.check("--new-pack", "--offline")
    again = desk.check("--new-pack", "--offline")

    assert (first["exit_code"], again["exit_code"]) == (0, 0)
    assert "like the one before, Quellmar QM57-3S, serial 00417" in (
        sentences(first, "note")
    )


def test_the_pack_that_was_there_before_is_not_taken_for_new(desk: Desk) -> None:
    desk.check()

    told = desk.check("--new-pack")

    assert "No change was seen: Quellmar QM57-3S, serial 00417" in (
        sentences(told, "stops")
    )


def test_what_was_seen_in_the_laptop_that_a_disk_came_from_is_not_used(
    desk: Desk,
) -> None:
    dmi = desk.root / "sys/class/dmi/id"
    dmi.mkdir(parents=True, exist_ok=True)
    (dmi / "product_serial").write_text("RW14-1\n")
    desk.check()
    (dmi / "product_serial").write_text("RW14-2\n")
    desk.fit(NEW_PACK)

    told = desk.check("--new-pack")

    assert "Nothing is kept of the pack before" in sentences(told, "remark")


def test_a_pack_of_another_voltage_is_not_ready(desk: Desk) -> None:
    desk.check()
    desk.fit(NEW_PACK | {"voltage_min_design": "15200000", "voltage_now": "15900000"})

    assert "15.20 V, that of the one before 11.40 V" in (
        sentences(desk.check("--new-pack"), "stops")
    )


def test_a_saved_tree_alone_leaves_no_trace(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    root = tree(tmp_path / "tree", NEW_PACK)
    before = sorted(tmp_path.rglob("*"))

    bench("--json", "--root", root)

    assert sorted(tmp_path.rglob("*")) == before
    told = json.loads(capsys.readouterr().out)["figures_from"]
    assert (told["source"], told["why_not_asked"]) == (
        "built-in",
        "a saved tree is read",
    )


def test_a_state_that_cannot_be_written_is_said_and_stops_nothing(desk: Desk) -> None:
    desk.state.write_text("a file stands where the folder should be")
    desk.fit(NEW_PACK)

    told = desk.check()

    assert told["verdict"] == "ready"
    assert "cannot be written" in told["not_kept"]


@pytest.mark.skipif(os.geteuid() != 0, reason="root reads every file of a saved tree")
def test_every_recorded_tree_gets_a_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("healthy", "all-unknown", "odd-strings", "empty-bay", "blank-strings"):
        code = bench("--root", laid_out(name, tmp_path))

        assert code in {0, 10, 20}, name
        assert capsys.readouterr().out.startswith(("Ready", "Not ready")), name


FADE = TypicalFade(
    per_month=0.002,
    slow_per_month=0.001,
    fast_per_month=0.003,
    lender="own pack type",
    packs=12,
)
FIGURES = BenchFigures(
    as_of=date(2026, 11, 20),
    policy=replace(DEFAULT_POLICY, plan_wear=0.25),
    fades=(TypeFade(maker="Quellmar", model="QM57-3S", fade=FADE),),
)
ENROLMENT = {"laptop_id": 417, "key": "key-of-417", "serial": None, "board_uuid": None}


@pytest.fixture
def collector() -> Iterator[CollectorServer]:
    with collector_server() as server:
        server.answer = lambda _: Say(200, json.dumps(to_plain(FIGURES)).encode())
        yield server


@pytest.fixture
def enrolled(desk: Desk, collector: CollectorServer) -> Desk:
    desk.state.mkdir()
    write_record(
        desk.state / "enrolment.json", ENROLMENT | {"collector": collector.url}
    )
    desk.more = (f"--collector={collector.url}",)
    desk.fit(without(status="Charging", energy_full="51300000"))  # wear 10 %
    return desk


def test_the_collectors_figures_are_asked_for_with_the_laptops_key(
    enrolled: Desk, collector: CollectorServer
) -> None:
    told = enrolled.check()

    (heard,) = collector.heard
    assert (heard.path, heard.headers["Authorization"]) == (PATH, "Bearer key-of-417")
    assert told["figures_from"] == {
        "source": "asked",
        "as_of": "2026-11-20",
        "why_not_asked": None,
    }
    # 10 % and three years at 0.2 % a month: 17.2 %.
    assert told["verdict"] == "ready"
    assert "below the plan threshold of 25 %" in sentences(told, "note")
    assert "0.20 % a month, typical by 12 packs of its type" in sentences(told, "note")


def test_figures_that_were_kept_stand_in_for_a_silent_collector(
    enrolled: Desk, collector: CollectorServer
) -> None:
    enrolled.check()
    collector.answer = lambda _: None

    told = enrolled.check()

    assert (told["verdict"], told["figures_from"]["source"]) == ("ready", "kept")
    assert told["figures_from"]["why_not_asked"]


@pytest.mark.parametrize(
    "said",
    [
        problem(401, "Not signed in"),
        problem(404, "Not found"),
        Say(200, b"{}"),
        Say(200, b"[]"),
        Say(200, b"<html>", "text/html"),
    ],
)
def test_an_answer_that_is_none_leaves_the_defaults(
    said: Say, enrolled: Desk, collector: CollectorServer
) -> None:
    collector.answer = lambda _: said

    told = enrolled.check()

    assert told["figures_from"]["source"] == "built-in"
    assert told["figures_from"]["why_not_asked"]
    assert "published figures" in sentences(told, "stops")


def test_offline_leaves_the_collector_alone(
    enrolled: Desk, collector: CollectorServer
) -> None:
    told = enrolled.check("--offline")

    assert collector.heard == []
    assert "--offline" in told["figures_from"]["why_not_asked"]


def test_a_damaged_copy_is_not_used(enrolled: Desk) -> None:
    (enrolled.state / FILE).write_text("{")

    assert enrolled.check("--offline")["figures_from"]["source"] == "built-in"
