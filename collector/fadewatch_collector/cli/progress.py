"""A progress bar on standard error, where a person can see it."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

Advance = Callable[[int], object]


@contextmanager
def progress(label: str, length: int) -> Iterator[Advance | None]:
    """Show a bar while the block runs; None, and no bar, without a terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=length, label=label, file=sys.stderr) as bar:
        yield bar.update
