"""What a guest's agent reports is what a collector on this machine shows.

The agent sends plain http to this very machine only, so the guest has a relay on its
own loopback. TLS would take a certificate and a proxy in front of the collector, and
would try the standard library's part of the way, not ours.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.kernel.agent import AGENT_FILES
from tests.kernel.collector import (
    ObservedCollector,
    eventually,
    observed_collector,
)
from tests.kernel.conftest import Boot
from tests.kernel.machine import COLLECTOR_URL, Job, Laptop
from tests.kernel.packs import Bay, Pack, bays_holding
from tests.kernel.situations import DISK, HEALTHY, IN_MAH, NVME, WORN
from tests.kernel.smbios import Model

pytestmark = [pytest.mark.kernel, pytest.mark.timeout(120)]

Json = dict[str, Any]

REPORT = f"fadewatch-agent report --collector {COLLECTOR_URL} --token-file /lab/token"
HUNDREDTH = 0.005  # the API rounds percents to two places
SPARE = Pack(full=56_430, remaining=17_100, cycles=3, serial="00555")


@dataclass(frozen=True)
class Delivered:
    """A collector to which one laptop has reported, and what its agent printed."""

    collector: ObservedCollector
    printed: str

    def laptop(self) -> Json:
        (listed,) = self.collector.get_json("/laptops")["laptops"]
        laptop: Json = self.collector.get_json(f"/laptops/{listed['id']}")
        return laptop

    def assessed_packs(self, count: int) -> list[Json]:
        """Return the laptop's stays of packs once that many packs are assessed."""

        def are_assessed(packs: list[Json]) -> bool:
            return [pack["assessment"] is None for pack in packs] == [False] * count

        return eventually(lambda: self.laptop()["packs"], until=are_assessed)

    def fleet_csv(self) -> list[dict[str, str]]:
        text = self.collector.get("/exports/fleet.csv").decode()
        return list(csv.DictReader(io.StringIO(text, newline="")))


def deliver(
    boot: Boot, collector: ObservedCollector, laptop: Laptop, command: str, folder: Path
) -> Delivered:
    token = folder / "token"
    named = ("--label", "guests", "--site", "Northgate")
    token.write_text(collector.process.command("token", "new", *named))
    job = Job(
        command=command,
        files=AGENT_FILES | {"/lab/token": token},
        collector_port=collector.process.port,
    )
    outcome = boot(laptop, job)
    assert outcome.status == 0, outcome
    return Delivered(collector, outcome.stdout.decode())


@pytest.fixture(scope="module")
def delivered(
    boot: Boot, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Delivered]:
    folder = tmp_path_factory.mktemp("collector")
    laptop = Laptop(bays=bays_holding(WORN, IN_MAH), drives=(NVME, DISK))
    with observed_collector(folder) as collector:
        yield deliver(boot, collector, laptop, REPORT, folder)


@pytest.fixture(scope="module")
def swapped(
    boot: Boot, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Delivered]:
    folder = tmp_path_factory.mktemp("collector")
    laptop = Laptop(bays=(Bay((HEALTHY, SPARE)),), model=Model(packs=(HEALTHY,)))
    command = f"{REPORT} && bay 0.fitted=2 && {REPORT}"
    with observed_collector(folder) as collector:
        yield deliver(boot, collector, laptop, command, folder)


def test_a_laptop_enrols_and_delivers_with_one_command(delivered: Delivered) -> None:
    assert delivered.printed == "delivered 1\n"


@pytest.mark.parametrize(("slot", "pack"), [("BAT0", WORN), ("BAT1", IN_MAH)])
def test_the_collector_shows_the_wear_of_the_pack_described(
    delivered: Delivered, slot: str, pack: Pack
) -> None:
    stays = {stay["slot"]: stay for stay in delivered.assessed_packs(2)}

    wear_percent = stays[slot]["assessment"]["wear_percent"]
    assert wear_percent == pytest.approx(100 * pack.wear, abs=HUNDREDTH)
    assert stays[slot]["unit"] == pack.unit


@pytest.mark.parametrize(("slot", "pack"), [("BAT0", WORN), ("BAT1", IN_MAH)])
def test_the_fleet_csv_shows_the_wear_of_the_pack_described(
    delivered: Delivered, slot: str, pack: Pack
) -> None:
    delivered.assessed_packs(2)
    rows = {row["slot"]: row for row in delivered.fleet_csv()}

    assert rows[slot]["wear_percent"] == f"{100 * pack.wear:.1f}"
    assert rows[slot]["capacity_unit"] == pack.unit
    assert rows[slot]["design_capacity"] == str(pack.design)
    assert rows[slot]["full_charge_capacity"] == str(pack.full)
    assert rows[slot]["cycle_count"] == str(pack.cycles)


def test_the_fleet_csv_tells_the_laptop_with_its_memory_and_drives(
    delivered: Delivered,
) -> None:
    delivered.assessed_packs(2)
    row, *_ = delivered.fleet_csv()

    assert (row["laptop_serial"], row["site"]) == ("TH4X9Q7K", "Northgate")
    assert row["memory_total_mib"] == "256"
    assert row["storage_total_bytes"] == str(NVME.size_bytes + DISK.size_bytes)


def test_a_worn_pack_is_on_the_alert_list(delivered: Delivered) -> None:
    listed = eventually(
        lambda: delivered.collector.get_json("/alerts?kind=wear-replace")["alerts"],
        until=bool,
    )

    (alert,) = listed
    assert alert["pack"]["serial"] == WORN.serial
    assert alert["laptop"]["serial"] == "TH4X9Q7K"


def test_a_hot_swap_is_another_pack_with_its_own_wear(swapped: Delivered) -> None:
    stays = {stay["serial"]: stay for stay in swapped.assessed_packs(2)}

    for pack in (HEALTHY, SPARE):
        wear_percent = stays[pack.serial]["assessment"]["wear_percent"]
        assert wear_percent == pytest.approx(100 * pack.wear, abs=HUNDREDTH)


def test_after_a_hot_swap_the_history_of_both_packs_is_there(
    swapped: Delivered,
) -> None:
    stays = {stay["serial"]: stay for stay in swapped.assessed_packs(2)}

    before, after = stays[HEALTHY.serial], stays[SPARE.serial]
    assert before["slot"] == after["slot"] == "BAT0"
    assert before["until_at"] is not None
    assert after["until_at"] is None
    for stay, pack in ((before, HEALTHY), (after, SPARE)):
        assert [day["full_charge_capacity"] for day in stay["daily"]] == [pack.full]


def test_the_date_that_firmware_knew_at_the_boot_stays_with_the_first_pack(
    swapped: Delivered,
) -> None:
    stays = {stay["serial"]: stay for stay in swapped.assessed_packs(2)}

    assert stays[HEALTHY.serial]["made_on"] == "2023-11-02"
    assert stays[SPARE.serial]["made_on"] is None
