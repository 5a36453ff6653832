"""The reader of histories, fed with any file."""

import tempfile
from pathlib import Path

from fadewatch_collector.usecases.history_csv import UnreadableHistory, read_history_csv
from tests.fuzz.driver import run

_FILES: list[Path] = []


def check(data: bytes) -> None:
    """Read a file; every row is used or accounted for."""
    if not _FILES:
        _FILES.append(Path(tempfile.mkdtemp(prefix="fadewatch-history-")) / "file.csv")
    (file,) = _FILES
    file.write_bytes(data)
    try:
        found = read_history_csv(file)
    except UnreadableHistory as problem:
        words = str(problem)
        assert str(file) in words or "line" in words
        return
    assert 0 <= found.set_aside_count < max(found.rows, 1)
    assert found.impossible_dates <= found.rows
    assert found.without_capacity <= found.rows


def remove_file() -> None:
    """Take away what the last input was written to."""
    while _FILES:
        file = _FILES.pop()
        file.unlink(missing_ok=True)
        file.parent.rmdir()


if __name__ == "__main__":
    run("history_csv")
