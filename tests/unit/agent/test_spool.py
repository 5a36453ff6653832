"""The queue on disk."""

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_agent.errors import UnusableSpool
from fadewatch_agent.spool import (
    SET_ASIDE_LIMIT,
    Losses,
    SetAside,
    Spool,
    is_sound,
    with_spool,
)

IN_MEMORY = Path(":memory:")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "spool.sqlite"


@pytest.fixture
def spool() -> Iterator[Spool]:
    with Spool(IN_MEMORY, limit=10) as opened:
        yield opened


def put(spool: Spool, name: str, day: str = "2026-03-14") -> None:
    spool.put(name, day, json.dumps({"report_id": name}))


def ids(spool: Spool) -> list[str]:
    return [row.report_id for row in spool.waiting(1000, 10**9)]


def test_reports_wait_in_the_order_they_came(spool: Spool) -> None:
    for name in ("b", "a", "c"):
        put(spool, name)

    assert ids(spool) == ["b", "a", "c"]
    assert spool.depth() == 3


def test_reports_outlive_the_process(path: Path) -> None:
    with Spool(path, 10) as spool:
        put(spool, "a")
    with Spool(path, 10) as spool:
        assert ids(spool) == ["a"]


def test_it_is_one_file(path: Path) -> None:
    with Spool(path, 10) as spool:
        put(spool, "a")

    assert [file.name for file in path.parent.iterdir()] == ["spool.sqlite"]


def test_a_batch_holds_no_more_reports_than_asked(spool: Spool) -> None:
    for name in "abc":
        put(spool, name)

    assert len(spool.waiting(2, 10**9)) == 2


def test_a_batch_holds_no_more_bytes_than_asked(spool: Spool) -> None:
    for name in "abc":
        put(spool, name)
    size = len(json.dumps({"report_id": "a"})) + 1

    assert len(spool.waiting(10, 2 * size)) == 2
    assert len(spool.waiting(10, 2 * size - 1)) == 1


def test_a_single_report_is_never_too_big(spool: Spool) -> None:
    put(spool, "a")

    assert len(spool.waiting(10, 1)) == 1


def test_delivered_reports_leave_and_rejected_ones_are_set_aside(spool: Spool) -> None:
    for name in "abc":
        put(spool, name)

    spool.settle(["a"], [SetAside("b", "no slot")])

    assert ids(spool) == ["c"]
    assert spool.set_aside() == [SetAside("b", "no slot")]


def test_only_the_latest_of_those_set_aside_are_kept() -> None:
    with Spool(IN_MEMORY, limit=1000) as spool:
        for index in range(SET_ASIDE_LIMIT + 5):
            put(spool, f"{index}")
        spool.set_aside_all("odd")

        kept = spool.set_aside()

    assert len(kept) == SET_ASIDE_LIMIT
    assert kept[0].report_id == f"{SET_ASIDE_LIMIT + 4}"


def test_a_full_queue_is_thinned_to_one_a_day_from_its_oldest_end(spool: Spool) -> None:
    for day in ("2026-03-01", "2026-03-02", "2026-03-03"):
        for name in "abc":
            put(spool, f"{day[-1]}{name}", day)

    put(spool, "4a", "2026-03-04")
    put(spool, "4b", "2026-03-04")
    put(spool, "4c", "2026-03-04")
    put(spool, "4d", "2026-03-04")

    assert ids(spool) == ["1c", "2b", "2c", "3a", "3b", "3c", "4a", "4b", "4c", "4d"]
    assert all_losses(spool) == Losses(thinned=3)


def test_whole_days_are_dropped_only_when_each_has_one_reading_left(
    spool: Spool,
) -> None:
    for day in range(10, 20):
        put(spool, f"{day}", f"2026-03-{day}")

    put(spool, "20", "2026-03-20")

    assert ids(spool)[0] == "11"
    assert spool.untold() == Losses(dropped=1)


def test_the_newest_reading_is_never_lost(spool: Spool) -> None:
    for index in range(50):
        put(spool, f"{index}")

    assert ids(spool)[-1] == "49"


def test_a_loss_is_told_once(spool: Spool) -> None:
    for index in range(11):
        put(spool, f"{index}")
    assert spool.untold() == Losses(thinned=1)

    spool.settle(["5"], [])
    put(spool, "teller")

    assert spool.untold() == Losses()


def test_a_loss_is_told_again_when_the_teller_is_lost(spool: Spool) -> None:
    spool.note_damage()
    put(spool, "teller", "2026-03-01")
    assert spool.untold() == Losses()

    for day in range(10, 20):
        put(spool, f"{day}", f"2026-03-{day}")

    assert spool.untold() == Losses(dropped=1, damaged=1)


def test_a_smaller_limit_thins_at_the_next_report(path: Path) -> None:
    with Spool(path, 100) as spool:
        for index in range(14):
            put(spool, f"{index}")
    with Spool(path, 10) as spool:
        put(spool, "last")

        assert spool.depth() == 10
        assert spool.untold() == Losses(thinned=5)


@given(
    st.lists(st.integers(1, 28), min_size=1, max_size=60),
    st.integers(2, 12),
)
def test_a_day_is_dropped_only_when_no_day_can_be_thinned(
    days: list[int], limit: int
) -> None:
    days = sorted(days)
    with Spool(IN_MEMORY, limit) as spool:
        for index, day in enumerate(days):
            put(spool, f"{index:03}", f"2026-03-{day:02}")
        kept = ids(spool)
        lost = all_losses(spool)

    assert len(kept) == min(len(days), limit)
    assert lost.thinned + lost.dropped == len(days) - len(kept)
    assert lost.dropped == max(0, len(set(days)) - limit)
    kept_days = {days[int(name)] for name in kept}
    assert kept_days == set(sorted(set(days))[-limit:])


def all_losses(spool: Spool) -> Losses:
    """Add up what waiting reports tell and what the next one will tell."""
    row = spool._connection.execute(
        "SELECT sum(thinned_told), sum(dropped_told), sum(damaged_told) FROM queued"
    ).fetchone()
    return Losses(*(told + new for told, new in zip(row, spool.untold(), strict=True)))


def test_losses_are_worded() -> None:
    assert Losses(3, 2, 1).sentences() == [
        "queue full: readings thinned to one a day: 3",
        "queue full: oldest readings dropped: 2",
        "queue file damaged and begun anew, times: 1",
    ]
    assert Losses().sentences() == []


@pytest.mark.parametrize(
    "content", [b"not a database at all" * 100, b"SQLite format 3"]
)
def test_a_damaged_file_is_set_aside_and_a_new_one_begun(
    path: Path, content: bytes
) -> None:
    path.write_bytes(content)

    untold = with_spool(path, 10, lambda spool: spool.untold())

    assert untold == Losses(damaged=1)
    assert path.with_name("spool.sqlite.damaged").read_bytes() == content


def test_damage_inside_the_file_is_found_when_it_is_met(path: Path) -> None:
    with Spool(path, 1000) as spool:
        for index in range(5):
            put(spool, f"{index}" * 5000)
    raw = bytearray(path.read_bytes())
    raw[4096:] = b"\xa5" * (len(raw) - 4096)
    path.write_bytes(raw)

    with_spool(path, 1000, lambda spool: put(spool, "new"))

    with Spool(path, 1000) as spool:
        assert ids(spool) == ["new"]


def test_the_journal_of_a_damaged_file_is_not_used_for_the_new_one(path: Path) -> None:
    path.write_bytes(b"x" * 4096)
    journal = path.with_name("spool.sqlite-journal")
    journal.write_bytes(b"y" * 600)

    with_spool(path, 10, lambda spool: put(spool, "new"))

    assert not journal.exists()
    with Spool(path, 10) as spool:
        assert ids(spool) == ["new"]


def test_an_empty_file_is_a_new_queue(path: Path) -> None:
    path.touch()

    assert with_spool(path, 10, lambda spool: spool.depth()) == 0


def test_a_queue_of_another_version_is_left_alone(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 99")
    connection.close()

    with pytest.raises(UnusableSpool, match="layout 99 is not 2"):
        with_spool(path, 10, lambda spool: spool.depth())


def test_a_full_disk_is_no_damage(path: Path) -> None:
    def fill(spool: Spool) -> None:
        (pages,) = spool._connection.execute("PRAGMA page_count").fetchone()
        spool._connection.execute(f"PRAGMA max_page_count = {pages}")
        spool.put("big", "2026-03-14", "x" * 100_000)

    with pytest.raises(UnusableSpool, match="full"):
        with_spool(path, 10, fill)

    assert not path.with_name("spool.sqlite.damaged").exists()


def test_a_new_file_that_cannot_be_used_either_is_named(path: Path) -> None:
    path.write_bytes(b"x" * 4096)

    def fail(_: Spool) -> None:
        raise sqlite3.OperationalError("disk I/O error")

    with pytest.raises(UnusableSpool, match="disk I/O error"):
        with_spool(path, 10, fail)


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(UnusableSpool, match="unable to open"):
        with_spool(tmp_path / "none/spool.sqlite", 10, lambda spool: spool.depth())


@pytest.mark.parametrize(
    ("body", "sound"), [('{"a":1}', True), ("[]", False), ('{"a":', False), ("", False)]
)
def test_a_body_must_be_the_object_that_was_put_in(body: str, sound: bool) -> None:
    assert is_sound(body) is sound
