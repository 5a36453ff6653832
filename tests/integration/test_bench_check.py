"""May it be issued: the collector's verdicts, and that the agent's are the same."""

import csv
import io
import json
import os
import subprocess
from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import TypeAdapter

from fadewatch_agent.bench import bench_reading
from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.usecases.assessing import assess_all
from fadewatch_collector.usecases.bench_check import (
    CheckFilter,
    bench_check_of,
    bench_figures_of,
    check_list,
)
from fadewatch_collector.usecases.inspections import inspect
from fadewatch_collector.usecases.issue_csv import ISSUE_CSV_COLUMNS, stream_issue_csv
from fadewatch_collector.usecases.policies import change_policy
from fadewatch_collector.usecases.services import Services
from fadewatch_common.bench.facts import BenchFigures
from fadewatch_common.bench.gather import gather
from fadewatch_common.bench.verdict import check
from fadewatch_common.decoding import from_plain
from fadewatch_common.report import Drive, Memory, MemorySlot, Pack, Report
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, live, new_laptop, technician
from tests.integration.api_service import ApiService, running_api
from tests.integration.pages_service import Pages, running_pages
from tests.integration.postgres import DATABASES
from tests.processes import BIN, new_collector
from tests.reports import LAPTOP, PACK, make_report
from tests.unit.agent.laptops import block_device, empty_tree, supply, without

ON = DATABASES

GOOD = replace(PACK, full_charge_capacity=56_000, state="charging", cycle_count=3)
MEMORY = Memory(
    total_mib=16_384,
    slots=(
        MemorySlot(locator="A", size_mib=16_384),
        MemorySlot(locator="B", size_mib=0),
    ),
)
DRIVES = (Drive(name="nvme0n1", kind="nvme", size_bytes=512_110_190_592),)


def report_of(clock: StandingClock, *packs: Pack, **changes: Any) -> Report:
    known = {"memory": MEMORY, "drives": DRIVES, "mains_online": True} | changes
    return make_report(clock(), packs, **known)


async def laptop_with(
    services: Services,
    clock: StandingClock,
    pack: Pack,
    serial: str = "BM-1",
    days: int = 3,
    **changes: Any,
) -> tuple[int, Report]:
    """Enrol a laptop that reported a pack for some days; return its last report."""
    number = await new_laptop(services, serial, replace(LAPTOP, board_uuid=None))
    report = report_of(clock, pack, **changes)
    for day in reversed(range(days)):
        report = replace(
            report_of(clock, pack, **changes),
            measured_at=clock() - timedelta(days=day),
        )
        await live(services, number, report)
    return number, report


def worn(percent: float, **changes: Any) -> Pack:
    full = round(57_000 * (1 - percent / 100))
    return replace(GOOD, full_charge_capacity=full, cycle_count=200, **changes)


async def test_a_good_laptop_is_ready_and_a_worn_one_is_not(
    services: Services, clock: StandingClock
) -> None:
    good, _ = await laptop_with(services, clock, GOOD)
    bad, _ = await laptop_with(services, clock, worn(44, serial="2"), "BM-2")

    assert (await bench_check_of(services, good)).check.verdict == "ready"
    found = (await bench_check_of(services, bad)).check
    assert (found.verdict, found.look_first) == ("not-ready", True)


@pytest.mark.parametrize(
    ("pack", "changes"),
    [
        (GOOD, {}),
        (worn(12), {}),
        (worn(44), {"mains_online": False}),
        (replace(worn(8), serial=None, state="held", remaining_capacity=20_000), {}),
        (GOOD, {"memory": None, "drives": (), "remarks": ("memory: hidden",)}),
    ],
    ids=["good", "worn", "past replace", "unnamed", "unread"],
)
async def test_the_agent_says_the_same_of_the_same_facts(
    services: Services, clock: StandingClock, pack: Pack, changes: dict[str, Any]
) -> None:
    number, report = await laptop_with(services, clock, pack, **changes)
    mine = (await bench_check_of(services, number)).check
    told = await bench_figures_of(services, number)

    # What the agent does with the answer and today's reading.
    wire = json.loads(TypeAdapter(BenchFigures).dump_json(told))
    figures = from_plain(BenchFigures, wire)
    its = check(gather(bench_reading(report), figures, today=clock().date()))

    assert its == mine


async def test_typical_fade_comes_with_the_number_of_packs(
    services: Services, clock: StandingClock
) -> None:
    for index in range(6):
        await laptop_with(services, clock, worn(5, serial=f"9{index}1"), f"BM-{index}")
    await assess_all(services)

    figures = await bench_figures_of(services, 1)

    assert figures.as_of == clock().date()
    assert {fade.fade.packs for fade in figures.fades} <= {5, 6}


async def test_an_open_alert_and_a_policy_are_part_of_the_verdict(
    services: Services, clock: StandingClock
) -> None:
    number, _ = await laptop_with(services, clock, GOOD)
    pat = await technician(services)
    await change_policy(services, "site:North", {"least_memory_mib": 32_768}, pat)
    await inspect(services, number, pat, signs=["rocks"], note="")

    found = (await bench_check_of(services, number)).check

    kinds = [remark.kind for remark in found.of("stops")]
    assert (kinds, found.look_first) == (["alert", "memory"], True)


async def test_a_pack_that_was_taken_out_is_missed(
    services: Services, clock: StandingClock
) -> None:
    number, _ = await laptop_with(services, clock, GOOD)
    clock.move(DAY)
    await live(services, number, report_of(clock))

    found = (await bench_check_of(services, number)).check

    assert [one.sentence[:20] for one in found.remarks if one.kind == "no-pack"] == [
        "0 packs were found: ",
        "It is empty; Callow ",
    ]


async def test_the_list_is_paged_and_filtered(
    services: Services, clock: StandingClock
) -> None:
    for index in range(5):
        pack = worn(44, serial=f"7{index}7") if index % 2 else GOOD
        await laptop_with(services, clock, pack, f"BM-{index}", days=1)

    first = await check_list(services, CheckFilter(), limit=3)
    rest = await check_list(services, CheckFilter(), first.next_cursor, limit=3)
    bad = await check_list(services, CheckFilter(verdict="not-ready"), limit=1)
    more = await check_list(
        services, CheckFilter(verdict="not-ready"), bad.next_cursor, limit=1
    )
    elsewhere = await check_list(services, CheckFilter(site="South"))

    assert [one.id for one in (*first.laptops, *rest.laptops)] == [1, 2, 3, 4, 5]
    assert rest.next_cursor is None
    assert [one.id for one in (*bad.laptops, *more.laptops)] == [2, 4]
    assert more.next_cursor is None
    assert (elsewhere.laptops, elsewhere.laptop_count) == ([], 5)


async def test_what_cannot_be_asked_is_refused(services: Services) -> None:
    with pytest.raises(NotFound):
        await bench_check_of(services, 7)
    with pytest.raises(InvalidRequest, match="0 to 10"):
        await bench_check_of(services, 7, 11)


async def test_the_csv_has_one_line_a_laptop_and_no_formulas(
    services: Services, clock: StandingClock
) -> None:
    await laptop_with(services, clock, replace(worn(44), model="=1+1", serial=None))
    await laptop_with(services, clock, GOOD, "BM-2")

    pieces = [piece async for piece in stream_issue_csv(services)]

    head, bad, good = csv.reader(io.StringIO(b"".join(pieces).decode()))
    assert tuple(head) == ISSUE_CSV_COLUMNS
    assert (bad[6], bad[7], bad[8]) == ("not-ready", "3", "1")
    assert bad[9].startswith("BAT0: Wear is 44 %")
    assert (good[6], good[9]) == ("ready", "")


@pytest.fixture
async def api(services: Services) -> AsyncIterator[ApiService]:
    async with running_api(services) as service:
        yield service


async def test_a_viewer_reads_verdicts_through_the_api(
    api: ApiService, services: Services, clock: StandingClock
) -> None:
    number, _ = await laptop_with(services, clock, worn(12))
    viewer = await api.api_token("viewer")
    path = f"/laptops/{number}/bench-check"

    long = await api.ask("GET", path, viewer, params={"service_years": "9"})
    none = await api.ask("GET", path, viewer, params={"service_years": "0"})
    listed = await api.ask(
        "GET", "/bench-checks", viewer, params={"verdict": "not-ready"}
    )
    wrong = await api.ask("GET", path, viewer, params={"service_years": "soon"})

    assert (long.json["verdict"], long.json["service_years"]) == ("not-ready", 9)
    assert none.json["verdict"] == "ready"
    assert min(len(long.json["signs"]), len(long.json["cautions"])) > 0
    assert [one["laptop_id"] for one in listed.json["laptops"]] == [number]
    assert wrong.status == 400


@pytest.fixture
async def pages(services: Services) -> AsyncIterator[Pages]:
    async with running_pages(services) as service:
        await service.sign_in()
        yield service


async def test_the_pages_say_the_verdict_for_the_years_asked_for(
    pages: Pages, services: Services, clock: StandingClock
) -> None:
    number, _ = await laptop_with(services, clock, worn(12), days=1)

    laptop = await pages.get(f"/laptops/{number}?years=9")
    shown = await pages.get("/issue?years=9&verdict=not-ready")
    none = await pages.get("/issue?verdict=ready&years=9")
    wrong = await pages.get("/issue?years=soon")

    assert "Not ready for 9 years of service" in laptop.texts
    assert "it rocks on a flat table" in laptop.texts
    assert "After 9 years of service" in shown.texts
    assert shown.all("a", href="/exports/issue.csv?verdict=not-ready&years=9")
    assert "No laptop of the 1 looked at matches" in none.texts
    assert wrong.status == 400


def test_a_real_agent_asks_a_real_collector(tmp_path: Path) -> None:
    root = empty_tree(tmp_path / "tree")
    (root / "proc/meminfo").write_text("MemTotal: 16310236 kB\n")
    block_device(root, "nvme0n1", {"size": "1000215216", "removable": "0"})
    supply(root, "ADP0", {"online": "1"}, kind="Mains")
    supply(root, "BAT0", without(status="Charging", energy_full="55000000"))
    places = [f"--root={root}", f"--state={tmp_path / 'state'}"]

    (tmp_path / "collector").mkdir()
    collector = new_collector(tmp_path / "collector")
    token = tmp_path / "token"
    with collector.running():
        token.write_text(collector.command("token", "new", "--label", "desk"))
        to = f"--collector={collector.url}"
        agent(collector.environment(), "report", f"--token-file={token}", to, *places)
        asked = agent(collector.environment(), "bench", "--json", to, *places)
    kept = agent(os.environ, "bench", "--json", to, *places)

    assert json.loads(asked.stdout)["figures_from"]["source"] == "asked", asked.stdout
    told = json.loads(kept.stdout)
    assert told["figures_from"]["source"] == "kept"
    assert "refused" in told["figures_from"]["why_not_asked"]
    assert asked.returncode == kept.returncode


def agent(environment: Any, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [BIN / "fadewatch-agent", *words],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
