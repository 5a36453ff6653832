"""What breaks the bounds of the wire is left out and named."""

from fadewatch_agent.fitting import fitted
from fadewatch_common.bounds import problems
from fadewatch_common.report import Drive, Memory, Pack

PACK = Pack(slot="BAT0", unit="mWh", full_charge_capacity=49_020)


def test_a_record_within_its_bounds_is_kept_as_it_is() -> None:
    record, remarks = fitted(PACK, "BAT0")

    assert record is PACK
    assert remarks == ()


def test_fields_out_of_bounds_are_left_out_and_named() -> None:
    hot = Pack(slot="BAT0", unit="mWh", temperature_c=-273.1, charge_limit_percent=250)

    record, remarks = fitted(hot, "BAT0")

    assert record == Pack(slot="BAT0", unit="mWh")
    assert remarks == (
        "BAT0: temperature c left out: it is not between -60.0 and 150.0",
        "BAT0: charge limit percent left out: it is not between 0 and 100",
    )


def test_a_record_that_needs_the_field_is_left_out() -> None:
    record, remarks = fitted(Drive(name="sda", size_bytes=2**61), "sda")

    assert record is None
    assert remarks[-1] == "sda: left out"


def test_a_broken_item_of_a_list_takes_the_list_with_it() -> None:
    memory = Memory(total_mib=8192, slots=(7,))  # type: ignore[arg-type]  # on purpose

    record, remarks = fitted(memory, "memory")

    assert record == Memory(total_mib=8192)
    assert record is not None
    assert not list(problems(record))
    assert remarks == ("memory: slots[0] left out: it is not a MemorySlot",)
