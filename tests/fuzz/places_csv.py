"""The importer of places, fed with any file."""

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.places import (
    KnownPlace,
    match_key,
    plan_import,
    read_places,
)
from tests.fuzz.csv_text import lines_of
from tests.fuzz.driver import run

_KNOWN = {
    match_key(serial): [KnownPlace(number, serial, {"site": "North"})]
    for number, serial in enumerate(("BM-00314", "BM-00315"), 1)
}


def check(data: bytes) -> None:
    """Plan an import; what cannot be read says so in words."""
    lines = lines_of(data)
    if lines is None:
        return
    try:
        rows = read_places(lines)
    except InvalidRequest as problem:
        words = str(problem)
        assert words
        return
    plan = plan_import(rows, _KNOWN)
    told = len(plan.changes) + plan.unchanged + len(plan.unmatched)
    assert told + len(plan.problems) == len(rows)
    for change in plan.changes:
        assert all(
            value is None or value.isprintable() for value in change.after.values()
        )


if __name__ == "__main__":
    run("places_csv")
