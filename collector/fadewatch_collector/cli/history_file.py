"""Read a file of histories for a command, and tell of what could not be used."""

from pathlib import Path

import click

from fadewatch_collector.cli.context import fail
from fadewatch_collector.cli.progress import progress
from fadewatch_collector.usecases.history_csv import (
    HistoryFile,
    UnreadableHistory,
    read_history_csv,
)


def load(path: Path, *, strict: bool) -> HistoryFile:
    """Read a file; one that cannot be read ends the command with exit code 1."""
    try:
        with progress("reading", path.stat().st_size) as advance:
            found = read_history_csv(path, strict=strict, advance=advance)
    except UnreadableHistory as problem:
        fail(str(problem))
    tell_set_aside(found)
    return found


def tell_set_aside(found: HistoryFile) -> None:
    """Tell on standard error which rows are not used, and why."""
    for row in found.set_aside:
        click.echo(str(row), err=True)
    if found.set_aside_count:
        more = found.set_aside_count - len(found.set_aside)
        click.echo(
            (f"... and {more:,} more.\n" if more else "")
            + f"{found.set_aside_count:,} of {found.rows:,} rows cannot be read and are "
            "set aside; --strict stops at the first.",
            err=True,
        )
    if found.impossible_dates:
        click.echo(
            f"{found.impossible_dates:,} rows are dated before 1990 or after 2099 and "
            "are not used; the laptop's clock was wrong.",
            err=True,
        )
    if found.without_capacity:
        click.echo(
            f"{found.without_capacity:,} rows leave a capacity empty; no wear follows "
            "from them.",
            err=True,
        )
