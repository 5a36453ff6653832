"""What the documents promise is what the code has."""

import dataclasses
import re
from collections import Counter
from pathlib import Path

import pytest
from click import Context, Group

from fadewatch_agent.options import COMMANDS as AGENT_COMMANDS
from fadewatch_collector.cli.main import COMMANDS, main
from fadewatch_collector.settings import Settings
from fadewatch_collector.usecases.charging_csv import CHARGING_CSV_COLUMNS
from fadewatch_collector.usecases.exports import FLEET_CSV_COLUMNS
from fadewatch_collector.usecases.fleet_csv import (
    FLEET_FILE_COLUMNS,
    FLEET_FILES,
    FleetFile,
)
from fadewatch_collector.usecases.issue_csv import ISSUE_CSV_COLUMNS
from fadewatch_collector.usecases.order_csv import (
    BUDGET_CSV_COLUMNS,
    DUE_PACKS_CSV_COLUMNS,
    ORDER_CSV_COLUMNS,
)
from fadewatch_collector.usecases.stock_csv import STOCK_CSV_COLUMNS
from fadewatch_collector.usecases.visits_csv import VISITS_CSV_COLUMNS
from fadewatch_common import report

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()


@pytest.mark.parametrize("name", list(Settings.model_fields))
def test_every_setting_is_in_the_readme(name: str) -> None:
    assert f"`FADEWATCH_{name.upper()}`" in README


@pytest.mark.parametrize(
    "record",
    [
        report.Report,
        report.Agent,
        report.Laptop,
        report.Pack,
        report.Memory,
        report.MemorySlot,
        report.Drive,
    ],
)
def test_every_field_that_is_sent_is_in_the_readme(record: type) -> None:
    parts = {"agent", "laptop", "packs", "memory", "drives", "slots"}
    for field in dataclasses.fields(record):
        if field.name not in parts:
            assert f"`{field.name}`" in README, f"{record.__name__}.{field.name}"


def test_the_readme_lists_the_columns_of_the_fleet_csv_in_order() -> None:
    assert f"`{', '.join(FLEET_CSV_COLUMNS)}`" in README


def test_the_readme_tells_of_every_column_of_the_charging_csv() -> None:
    for name in CHARGING_CSV_COLUMNS:
        # Columns of the two spans share a line.
        short = re.sub(r"^last_(30|90)_days_", "...", name)
        assert f"`{name}`" in README or f"`{short.replace('...', '..._')}`" in README


@pytest.mark.parametrize(
    "columns",
    [
        ORDER_CSV_COLUMNS[: ORDER_CSV_COLUMNS.index("needed_now_low")],
        BUDGET_CSV_COLUMNS,
        DUE_PACKS_CSV_COLUMNS,
        STOCK_CSV_COLUMNS,
    ],
)
def test_the_readme_lists_the_columns_of_the_order_lists_files(
    columns: tuple[str, ...],
) -> None:
    assert f"`{', '.join(columns)}`" in README


def test_the_readme_lists_the_columns_of_the_visits_csv_in_order() -> None:
    assert f"`{', '.join(VISITS_CSV_COLUMNS)}`" in README


@pytest.mark.parametrize("name", FLEET_FILES)
def test_the_readme_lists_the_columns_of_each_file_of_the_fleet_view(
    name: FleetFile,
) -> None:
    assert f"`{', '.join(FLEET_FILE_COLUMNS[name])}`" in README


def test_the_readme_lists_the_columns_of_the_issue_csv_in_order() -> None:
    assert f"`{', '.join(ISSUE_CSV_COLUMNS)}`" in README


def test_every_command_of_the_collector_is_in_the_readme() -> None:
    for name in COMMANDS:
        command = main.get_command(Context(main), name)
        assert command is not None
        if command.hidden:
            # The service's own; people have no use for it.
            continue
        assert re.search(rf"^\| `{name}\b", README, re.MULTILINE), name
        if isinstance(command, Group):
            row = next(
                line for line in README.splitlines() if line.startswith(f"| `{name}")
            )
            for part in command.commands:
                assert part in row, f"{name} {part}"


def test_the_top_level_holds_what_it_should() -> None:
    shown = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}

    assert shown == {
        "README.md",
        "DEVELOPERS.md",
        "agent",
        "collector",
        "common",
        "deploy",
        "tests",
        "pyproject.toml",
    }


def test_every_command_of_the_agent_is_in_the_readme() -> None:
    rows = [line for line in README.splitlines() if line.startswith("| `")]
    for name in AGENT_COMMANDS:
        assert any(f"`{name}" in row.split("|")[1] for row in rows), name


ASVS = (ROOT / "deploy/asvs-5.0-level-2.md").read_text()


def test_the_table_of_asvs_names_tests_and_files_that_exist() -> None:
    tests = "\n".join(path.read_text() for path in (ROOT / "tests").rglob("*.py"))
    files = {str(path.relative_to(ROOT)) for path in ROOT.glob("[acdt]*/**/*")}
    for named in set(re.findall(r"`([^`]+)`", ASVS)):
        if re.fullmatch(r"test_\w+", named):
            assert f"def {named}(" in tests, named
        elif re.fullmatch(r"[\w./-]+\.py", named) and "..." not in named:
            assert any(one.endswith("/" + named) or one == named for one in files), (
                named
            )


def test_the_table_of_asvs_has_every_item_once_and_counts_right() -> None:
    """253 items are of levels 1 and 2: 70 and 183, as the standard's own CSV has them."""
    rows = re.findall(
        r"^\| (\d+\.\d+\.\d+) \| ([12]) \| .* \| (\w.*?) \| ", ASVS, re.MULTILINE
    )
    states = Counter(state for _, _, state in rows)

    assert len({item for item, _, _ in rows}) == len(rows) == 253
    assert Counter(level for _, level, _ in rows) == {"1": 70, "2": 183}
    assert (
        f"253 requirements: {states['met']} met, {states['in part']} in part, "
        f"{states['not met']} not met, {states['n/a']} not applicable"
    ) in ASVS
