"""Import what only the organisation knows."""

import getpass
from collections.abc import Mapping, Sequence
from pathlib import Path

import click

from fadewatch_collector.cli.context import fail, with_services
from fadewatch_collector.rules.messages import one_line
from fadewatch_collector.rules.places import ImportPlan
from fadewatch_collector.rules.stock_csv import StockPlan, stock_words
from fadewatch_collector.usecases import places
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock import import_stock

SHOWN = 20
"""Lines of each sort shown at most; the rest is counted."""


@click.group("import")
def import_group() -> None:
    """Import what only the organisation knows."""


@import_group.command("places")
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--dry-run", is_flag=True, help="Only say what would change.")
@click.option("--undo", is_flag=True, help="Undo the last import instead.")
def places_command(file: Path | None, dry_run: bool, undo: bool) -> None:
    """Set asset tag, holder and site by laptop serial, from a CSV file.

    Its first line names laptop_serial and any of asset_tag, holder, site. An empty
    cell clears the field. Nothing changes when a row has a problem.
    """
    who = f"command line ({getpass.getuser()})"
    if undo:
        count = with_services(lambda s: places.undo_last_import(s, who))
        click.echo(f"Undone: {count} laptops have what they had before.")
        return
    if file is None:
        raise click.UsageError("name the CSV file, or use --undo")
    lines = _lines(file)

    async def work(services: Services) -> ImportPlan:
        return await places.import_places(services, lines, who, dry_run=dry_run)

    _show(with_services(work), dry_run=dry_run)


@import_group.command("stock")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Only say what would change.")
def stock_command(file: Path, dry_run: bool) -> None:
    """Set stock, orders, lead time and price by pack type, from a CSV file.

    Its first line names pack_type and any of on_hand, on_order, expected_on,
    lead_time_days, price, note; 'export stock' writes such a file. An empty cell clears
    the field. Nothing changes when a row has a problem.
    """
    who = f"command line ({getpass.getuser()})"
    lines = _lines(file)

    async def work(services: Services) -> StockPlan:
        return await import_stock(services, lines, who, dry_run=dry_run)

    _show_stock(with_services(work), dry_run=dry_run)


def _lines(file: Path) -> list[str]:
    try:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            return list(stream)
    except UnicodeDecodeError:
        fail(f"{file} is not UTF-8: save it as 'CSV UTF-8'")
    except OSError as problem:
        fail(f"{file} cannot be read: {problem.strerror}")


def _show(plan: ImportPlan, *, dry_run: bool) -> None:
    _list("problem", plan.problems)
    _list(
        "no such laptop", [f"{row.serial} (line {row.line})" for row in plan.unmatched]
    )
    if dry_run:
        _list(
            "would change",
            [
                f"{change.serial}: {_values(change.before)} -> {_values(change.after)}"
                for change in plan.changes
            ],
        )
    if plan.problems:
        fail("nothing was imported: mend the lines above first")
    done = "would change" if dry_run else "changed"
    click.echo(
        f"{len(plan.changes)} laptops {done}, {plan.unchanged} are as they should be, "
        f"{len(plan.unmatched)} serials match no laptop."
    )


def _show_stock(plan: StockPlan, *, dry_run: bool) -> None:
    _list("problem", plan.problems)
    _list("no such type", [f"{one.key} (line {one.line})" for one in plan.unmatched])
    if dry_run:
        _list(
            "would change",
            [f"{one.type.label}: {stock_words(one)}" for one in plan.changes],
        )
    if plan.problems:
        fail("nothing was imported: mend the lines above first")
    done = "would change" if dry_run else "changed"
    click.echo(
        f"{len(plan.changes)} pack types {done}, {plan.unchanged} are as they should "
        f"be, {len(plan.unmatched)} rows match no pack type."
    )


def _values(values: Mapping[str, str | None]) -> str:
    return ", ".join(value or "-" for value in values.values())


def _list(title: str, lines: Sequence[str]) -> None:
    for line in lines[:SHOWN]:
        click.echo(f"{title}: {one_line(line)}")
    if len(lines) > SHOWN:
        click.echo(f"{title}: and {len(lines) - SHOWN} more")
