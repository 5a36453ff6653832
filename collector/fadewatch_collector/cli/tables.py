"""Plain aligned tables for a terminal."""

from collections.abc import Sequence

import click


def print_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print rows under headings, in columns two blanks apart."""
    widths = [
        max(len(row[column]) for row in (headings, *rows))
        for column in range(len(headings))
    ]
    for row in (headings, *rows):
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        click.echo("  ".join(cells).rstrip())
