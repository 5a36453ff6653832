"""Every input that fuzzing kept, replayed without the fuzzer."""

from collections.abc import Iterator

import pytest

from tests.fuzz import history_csv, places_csv, smbios, stock_csv, sysfs
from tests.fuzz.driver import seeds

TARGETS = {
    "history_csv": history_csv.check,
    "places_csv": places_csv.check,
    "smbios": smbios.check,
    "stock_csv": stock_csv.check,
    "sysfs": sysfs.check,
}


@pytest.fixture(autouse=True)
def leave_no_files() -> Iterator[None]:
    yield
    history_csv.remove_file()


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_what_was_found_to_matter_breaks_nothing(name: str) -> None:
    inputs = sorted(seeds(name).iterdir())

    for path in inputs:
        TARGETS[name](path.read_bytes())

    assert 3 <= len(inputs) <= 40
    assert all(path.stat().st_size <= 5_000 for path in inputs)


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_an_empty_input_breaks_nothing(name: str) -> None:
    TARGETS[name](b"")
