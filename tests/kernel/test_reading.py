"""The agent reads what the kernel shows of a laptop described to its firmware."""

import json
from typing import Any, Literal

import pytest

from fadewatch_agent.cli import main
from tests.fixtures.trees import TREES
from tests.kernel import situations
from tests.kernel.agent import AGENT_FILES
from tests.kernel.conftest import Boot
from tests.kernel.machine import Job, Laptop
from tests.kernel.situations import BAYS

pytestmark = [pytest.mark.kernel, pytest.mark.timeout(120)]

Json = dict[str, Any]

NUMBERS = (
    "healthy",
    "in-mah",
    "unknown-design",
    "all-unknown",
    "held-at-limit",
    "without-cycles",
    "full-above-design",
)
WORDS = ("odd-strings", "blank-strings", "empty-bay")


class Reading:
    """What ``fadewatch-agent read --json`` said of a laptop with some bays."""

    def __init__(self, said: Json, names: tuple[str, ...] = ()) -> None:
        self.said = said
        self.slots = {name: f"BAT{number}" for number, name in enumerate(names)}
        self.packs: dict[str, Json] = {pack["slot"]: pack for pack in said["packs"]}

    def pack(self, situation: str) -> Json:
        return self.packs[self.slots[situation]]

    def remarks_on(self, situation: str) -> list[str]:
        slot = self.slots[situation]
        return [remark for remark in self.said["remarks"] if slot in remark]


def read(
    boot: Boot, account: Literal["root", "agent"], names: tuple[str, ...]
) -> Reading:
    laptop = Laptop(
        bays=tuple(BAYS[name] for name in names),
        mains_online=False,
        drives=situations.EVERY_SITUATION.drives,
    )
    command = "fadewatch-agent read --json"
    outcome = boot(laptop, Job(command=command, files=AGENT_FILES, account=account))
    assert outcome.status == 0, outcome.stderr
    return Reading(json.loads(outcome.stdout), names)


@pytest.fixture(scope="module")
def reading(boot: Boot) -> Reading:
    return read(boot, "root", NUMBERS)


@pytest.fixture(scope="module")
def unprivileged(boot: Boot) -> Reading:
    return read(boot, "agent", WORDS)


def test_a_pack_in_mwh_is_read_as_its_firmware_describes_it(reading: Reading) -> None:
    assert reading.pack("healthy") == {
        "slot": "BAT0",
        "unit": "mWh",
        "design_capacity": 57_000,
        "full_charge_capacity": 54_340,
        "remaining_capacity": 41_200,
        "cycle_count": 61,
        "voltage_mv": 11_873,
        "design_voltage_mv": 11_400,
        "state": "discharging",
        "maker": "Quellmar",
        "model": "QM57-3S",
        "serial": "00417",
        "chemistry": "Li-poly",
    }


def test_a_second_pack_keeps_its_own_unit(reading: Reading) -> None:
    assert reading.pack("in-mah") == {
        "slot": "BAT1",
        "unit": "mAh",
        "design_capacity": 5_000,
        "full_charge_capacity": 4_100,
        "remaining_capacity": 3_900,
        "cycle_count": 412,
        "voltage_mv": 12_480,
        "design_voltage_mv": 11_400,
        "state": "charging",
        "maker": "Vossel Cells",
        "model": "VC50",
        "serial": "0912",
        "chemistry": "Li-ion",
    }


def test_an_unknown_design_capacity_is_left_out_with_the_reason(
    reading: Reading,
) -> None:
    pack = reading.pack("unknown-design")

    assert "design_capacity" not in pack
    assert pack["full_charge_capacity"] == 54_340
    assert any("ENODEV" in remark for remark in reading.remarks_on("unknown-design"))


def test_a_pack_that_knows_no_number_still_has_its_name(reading: Reading) -> None:
    pack = reading.pack("all-unknown")

    known = {name for name in pack if name not in {"unit", "slot", "state"}}
    assert known == {"maker", "model", "serial", "chemistry", "design_voltage_mv"}


def test_a_pack_at_its_charge_limit_is_held(reading: Reading) -> None:
    pack = reading.pack("held-at-limit")

    assert (pack["state"], pack["remaining_capacity"]) == ("held", 43_472)


def test_firmware_that_counts_no_cycles_gives_no_count(reading: Reading) -> None:
    pack = reading.pack("without-cycles")

    assert "cycle_count" not in pack
    assert pack["full_charge_capacity"] == 31_000


def test_a_full_charge_above_design_is_passed_on(reading: Reading) -> None:
    pack = reading.pack("full-above-design")

    assert (pack["design_capacity"], pack["full_charge_capacity"]) == (57_000, 60_420)
    assert pack["state"] == "full"


def test_a_laptop_off_mains_says_so(reading: Reading) -> None:
    assert reading.said["mains_online"] is False


def test_the_laptop_is_the_one_that_its_firmware_names(reading: Reading) -> None:
    assert reading.said["laptop"] == {
        "hostname": "ridgeway-0417",
        "maker": "Tarnholm",
        "model": "Ridgeway 14",
        "serial": "TH4X9Q7K",
        "board_uuid": "6f1d3a52-8a3e-4f0a-9c11-aabbccddeeff",
        "chassis": "notebook",
    }


def test_memory_is_what_the_machine_was_given(reading: Reading) -> None:
    memory = reading.said["memory"]

    assert memory["total_mib"] == 256
    (slot,) = memory["slots"]
    assert slot["size_mib"] == 256
    assert slot["locator"] == "SLOT 0"
    assert slot["speed_mts"] == 3200
    assert (slot["maker"], slot["part"]) == ("Orrin Memory", "OM8-3200")
    assert slot["soldered"] is False


def test_drives_are_told_apart_and_measured(reading: Reading) -> None:
    assert reading.said["drives"] == [
        {
            "name": "nvme0n1",
            "kind": "nvme",
            "model": "QEMU NVMe Ctrl",
            "serial": "NV-0001",
            "size_bytes": 512_110_190_592,
        },
        {
            "name": "sda",
            "kind": "hdd",
            "model": "Brackwater 1000",
            "serial": "BW-0002",
            "size_bytes": 1_000_204_886_016,
        },
    ]


def test_a_saved_tree_is_read_like_the_laptop_that_it_shows(
    reading: Reading, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["read", "--json", "--root", str(TREES / "whole-laptop")])
    saved = json.loads(capsys.readouterr().out)

    assert saved["packs"] == [reading.pack("healthy"), reading.pack("in-mah")]
    for part in ("laptop", "memory", "drives"):
        assert saved[part] == reading.said[part]


def test_texts_outside_ascii_and_blanks_come_through_tidied(
    unprivileged: Reading,
) -> None:
    pack = unprivileged.pack("odd-strings")

    assert pack["maker"] == "Zéta Énergie"
    assert pack["model"] == "ZE 57"
    assert pack["serial"] == "№ 7"
    assert "chemistry" not in pack


def test_blank_texts_are_unknown(unprivileged: Reading) -> None:
    pack = unprivileged.pack("blank-strings")

    assert not pack.keys() & {"maker", "model", "serial", "chemistry"}
    assert pack["full_charge_capacity"] == 28_500


def test_an_empty_bay_is_no_pack(unprivileged: Reading) -> None:
    assert set(unprivileged.packs) == {
        unprivileged.slots["odd-strings"],
        unprivileged.slots["blank-strings"],
    }


def test_without_privilege_what_only_root_may_read_becomes_a_remark(
    unprivileged: Reading,
) -> None:
    laptop = unprivileged.said["laptop"]

    assert (laptop["maker"], laptop["model"]) == ("Tarnholm", "Ridgeway 14")
    assert not laptop.keys() & {"serial", "board_uuid"}
    assert any("EACCES" in remark for remark in unprivileged.said["remarks"])


def test_without_privilege_memory_is_what_the_kernel_may_use(
    unprivileged: Reading,
) -> None:
    memory = unprivileged.said["memory"]

    assert 0 < memory["total_mib"] <= 256
    assert memory.get("slots", []) == []


def test_a_laptop_without_pack_still_tells_its_inventory(boot: Boot) -> None:
    job = Job(command="fadewatch-agent read --json", files=AGENT_FILES)

    outcome = boot(situations.WITHOUT_PACK, job)

    assert outcome.status == 3
    said = json.loads(outcome.stdout)
    assert said["packs"] == []
    assert said["laptop"]["serial"] == "TH4X9Q7K"
    assert said["drives"] == [
        {
            "name": "sda",
            "kind": "ssd",
            "model": "Larkspur S240",
            "serial": "LS-0003",
            "size_bytes": 240_057_409_536,
        },
    ]
