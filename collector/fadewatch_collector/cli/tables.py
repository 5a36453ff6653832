"""Plain aligned tables for a terminal."""

from collections.abc import Sequence

import click

from fadewatch_collector.rules.messages import one_line


def print_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print rows under headings, in columns two blanks apart.

    Cells may hold what a laptop or a file brought: on a terminal it does nothing.
    """
    rows = [[_harmless(cell) for cell in row] for row in rows]
    widths = [
        max(len(row[column]) for row in (headings, *rows))
        for column in range(len(headings))
    ]
    for row in (headings, *rows):
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        click.echo("  ".join(cells).rstrip())


def _harmless(cell: str) -> str:
    return cell if cell.isprintable() else one_line(cell)
