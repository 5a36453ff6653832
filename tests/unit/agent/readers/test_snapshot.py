"""One look at a power supply."""

from pathlib import Path

from fadewatch_agent.readers.snapshot import parse_uevent, take_snapshot
from tests.unit.agent.laptops import HEALTHY, supply, without


def test_uevent_alone_gives_all_values(tmp_path: Path) -> None:
    folder = supply(tmp_path, "BAT0", HEALTHY)
    for name in HEALTHY:
        (folder / name).unlink()

    attributes = take_snapshot(folder)

    assert attributes.items() >= HEALTHY.items()
    assert attributes["type"] == "Battery"


def test_uevent_counts_where_a_single_file_says_something_else(tmp_path: Path) -> None:
    folder = supply(tmp_path, "BAT0", HEALTHY)
    (folder / "energy_full").write_text("1000\n")

    assert take_snapshot(folder)["energy_full"] == HEALTHY["energy_full"]


def test_an_empty_uevent_makes_it_read_single_files(tmp_path: Path) -> None:
    folder = supply(tmp_path, "BAT0", HEALTHY, single_files_only=True)

    assert take_snapshot(folder).items() >= HEALTHY.items()


def test_a_uevent_with_only_name_and_type_makes_it_read_single_files(
    tmp_path: Path,
) -> None:
    folder = supply(tmp_path, "BAT0", HEALTHY)
    (folder / "uevent").write_text(
        "POWER_SUPPLY_NAME=BAT0\nPOWER_SUPPLY_TYPE=Battery\n"
    )

    assert take_snapshot(folder).items() >= HEALTHY.items()


def test_a_single_file_that_cannot_be_read_is_left_out(tmp_path: Path) -> None:
    folder = supply(tmp_path, "BAT0", without("energy_now"), single_files_only=True)
    (folder / "energy_now").mkdir()

    assert "energy_now" not in take_snapshot(folder)


def test_the_charge_limit_is_read_beside_uevent(tmp_path: Path) -> None:
    folder = supply(tmp_path, "BAT0", HEALTHY)
    (folder / "charge_control_end_threshold").write_text("80\n")

    assert take_snapshot(folder)["charge_control_end_threshold"] == "80"


def test_a_folder_that_went_away_has_no_attributes(tmp_path: Path) -> None:
    assert take_snapshot(tmp_path / "BAT0") == {}


def test_a_line_end_in_a_string_cannot_pass_for_a_number() -> None:
    raw = (
        b"POWER_SUPPLY_CYCLE_COUNT=212\n"
        b"POWER_SUPPLY_MODEL_NAME=QM\nPOWER_SUPPLY_CYCLE_COUNT=1\n"
    )

    assert parse_uevent(raw) == {"cycle_count": "212", "model_name": "QM"}


def test_lines_of_other_subsystems_are_passed_over() -> None:
    assert parse_uevent(b"DEVTYPE=power_supply\nOF_NAME\nPOWER_SUPPLY_X\n") == {}


def test_values_keep_signs_of_equality_and_odd_bytes() -> None:
    parsed = parse_uevent(b"POWER_SUPPLY_MODEL_NAME=A=B\xff\n")

    assert parsed == {"model_name": "A=B�"}
