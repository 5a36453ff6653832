"""Exports to files."""

import os
import sys
from collections.abc import AsyncGenerator, Callable, Iterator
from contextlib import aclosing, contextmanager
from pathlib import Path
from typing import BinaryIO

import click

from fadewatch_collector.cli.context import fail, with_services
from fadewatch_collector.rules.visit_terms import DEFAULT_HORIZON, FARTHEST_HORIZON
from fadewatch_collector.usecases.bench_check import CheckFilter
from fadewatch_collector.usecases.charging_csv import stream_charging_csv
from fadewatch_collector.usecases.exports import stream_fleet_csv
from fadewatch_collector.usecases.fleet_csv import (
    FLEET_FILE_WORDS,
    FLEET_FILES,
    FleetFile,
    stream_fleet_file,
)
from fadewatch_collector.usecases.forget import laptop_named
from fadewatch_collector.usecases.issue_csv import stream_issue_csv
from fadewatch_collector.usecases.laptop_export import stream_laptop_export
from fadewatch_collector.usecases.order_csv import (
    stream_budget_csv,
    stream_due_packs_csv,
    stream_order_csv,
)
from fadewatch_collector.usecases.order_lists import OrderLists
from fadewatch_collector.usecases.removed_csv import stream_removed_csv
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.stock_csv import stream_stock_csv
from fadewatch_collector.usecases.visits_csv import stream_visits_csv

STDOUT = "-"

Pieces = Callable[[Services], AsyncGenerator[bytes]]


@click.group("export")
def export_group() -> None:
    """Write what the collector knows to a file: CSV (RFC 4180), UTF-8."""


_out = click.option(
    "--out",
    required=True,
    metavar="FILE",
    help="File to write; '-' writes to standard output.",
)
_byte_order_mark = click.option(
    "--byte-order-mark",
    is_flag=True,
    help="Begin with a byte order mark, for a spreadsheet that shows accents wrongly.",
)


@export_group.command("fleet")
@_out
@_byte_order_mark
def fleet(out: str, *, byte_order_mark: bool) -> None:
    """Write the fleet health CSV: one row a pack, and one a laptop without a pack."""
    write_pieces(
        out,
        lambda services: stream_fleet_csv(services, byte_order_mark=byte_order_mark),
    )


@export_group.command("removed")
@_out
@_byte_order_mark
def removed(out: str, *, byte_order_mark: bool) -> None:
    """Write the register of removed packs: where each is, and who said so."""
    write_pieces(
        out,
        lambda services: stream_removed_csv(services, byte_order_mark=byte_order_mark),
    )


@export_group.command("charging")
@_out
@_byte_order_mark
def charging(out: str, *, byte_order_mark: bool) -> None:
    """Write how packs are charged: one row a pack that sits in a laptop."""
    write_pieces(
        out,
        lambda services: stream_charging_csv(services, byte_order_mark=byte_order_mark),
    )


@export_group.command("order")
@_out
@_byte_order_mark
def order(out: str, *, byte_order_mark: bool) -> None:
    """Write the order list: packs to buy by pack type and by when."""
    write_pieces(
        out,
        lambda services: stream_order_csv(
            OrderLists(services), byte_order_mark=byte_order_mark
        ),
    )


@export_group.command("budget")
@_out
@_byte_order_mark
def budget(out: str, *, byte_order_mark: bool) -> None:
    """Write the budget of the order list, by month and site."""
    write_pieces(
        out,
        lambda services: stream_budget_csv(
            OrderLists(services), byte_order_mark=byte_order_mark
        ),
    )


@export_group.command("order-packs")
@_out
@_byte_order_mark
def order_packs(out: str, *, byte_order_mark: bool) -> None:
    """Write the packs behind the order list: each with its type and its days."""
    write_pieces(
        out,
        lambda services: stream_due_packs_csv(
            services, OrderLists(services), byte_order_mark=byte_order_mark
        ),
    )


@export_group.command("visits")
@_out
@_byte_order_mark
@click.option(
    "--within-days",
    type=click.IntRange(0, FARTHEST_HORIZON),
    default=DEFAULT_HORIZON,
    show_default=True,
    help="Packs that pass the plan threshold so soon make a laptop due.",
)
def visits(out: str, *, byte_order_mark: bool, within_days: int) -> None:
    """Write the visits: due and planned, one row a laptop; then done and called off."""
    write_pieces(
        out,
        lambda services: stream_visits_csv(
            services, within_days=within_days, byte_order_mark=byte_order_mark
        ),
    )


@export_group.command("stock")
@_out
@_byte_order_mark
def stock(out: str, *, byte_order_mark: bool) -> None:
    """Write stock, orders, lead time and price by pack type, as import takes them."""
    write_pieces(
        out,
        lambda services: stream_stock_csv(services, byte_order_mark=byte_order_mark),
    )


def _add_fleet_file(name: FleetFile) -> None:
    def write(out: str, *, byte_order_mark: bool) -> None:
        write_pieces(
            out,
            lambda services: stream_fleet_file(
                services, name, byte_order_mark=byte_order_mark
            ),
        )

    about = f"Write {FLEET_FILE_WORDS[name]}."
    export_group.command(name, help=about)(_out(_byte_order_mark(write)))


for _name in FLEET_FILES:
    _add_fleet_file(_name)


@export_group.command("issue")
@_out
@_byte_order_mark
@click.option(
    "--service-years",
    type=click.FloatRange(0, 10),
    help="Years the laptops are to serve (default: the policy's).",
)
def issue(out: str, *, byte_order_mark: bool, service_years: float | None) -> None:
    """Write whether each laptop may be issued, with what stands in the way."""
    wanted = CheckFilter(service_years=service_years)
    write_pieces(
        out,
        lambda services: stream_issue_csv(
            services, wanted, byte_order_mark=byte_order_mark
        ),
    )


@export_group.command("laptop")
@click.argument("which", metavar="ID|SERIAL")
@_out
def laptop(which: str, out: str) -> None:
    """Write everything that is held about one laptop, as JSON."""

    async def pieces(services: Services) -> AsyncGenerator[bytes]:
        laptop_id = await laptop_named(services, which)
        async for piece in stream_laptop_export(services, laptop_id):
            yield piece

    write_pieces(out, pieces)


def write_pieces(out: str, pieces: Pieces) -> None:
    """Write an export whole or not at all; an error is one line and exit code 1."""

    async def work(services: Services) -> None:
        with _opened(out) as file:
            async with aclosing(pieces(services)) as stream:
                async for piece in stream:
                    file.write(piece)

    try:
        with_services(work)
    except OSError as problem:
        fail(f"{out} cannot be written ({problem.strerror or problem})")


@contextmanager
def _opened(out: str) -> Iterator[BinaryIO]:
    if out == STDOUT:
        yield sys.stdout.buffer
        sys.stdout.buffer.flush()
        return
    path = Path(out)
    if path.exists() and not path.is_file():
        # A device or a pipe cannot be replaced by a finished file.
        with path.open("wb") as file:
            yield file
        return
    with _replacing(path.resolve()) as file:
        yield file


@contextmanager
def _replacing(path: Path) -> Iterator[BinaryIO]:
    """Write beside the file and take its place when all is on the disk."""
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with unfinished.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
