"""The importer of stock figures, fed with any file."""

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.rules.pack_types import PackType
from fadewatch_collector.rules.stock_csv import plan_stock, read_stock, stock_words
from tests.fuzz.csv_text import lines_of
from tests.fuzz.driver import run

_TYPES = (
    PackType("Callow Cells", "CC-57", "mWh", 57_000, 11_400, "Li-ion"),
    PackType("Quellmar", "QM|57%", "mAh", 5_000, None, None),
    PackType(None, None, "relative", None, None, None),
)


def check(data: bytes) -> None:
    """Plan an import; what cannot be read says so in words."""
    lines = lines_of(data)
    if lines is None:
        return
    try:
        rows = read_stock(lines)
    except InvalidRequest as problem:
        words = str(problem)
        assert words
        return
    plan = plan_stock(rows, _TYPES, {}, "EUR")
    told = len(plan.changes) + plan.unchanged + len(plan.unmatched)
    assert told + len(plan.problems) == len(rows)
    for change in plan.changes:
        assert stock_words(change)


if __name__ == "__main__":
    run("stock_csv")
