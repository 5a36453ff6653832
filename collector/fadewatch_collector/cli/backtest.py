"""Replay histories from a CSV file and say how what was said turned out."""

import json
from contextlib import ExitStack
from math import isinf
from pathlib import Path
from typing import TextIO

import click

from fadewatch_collector.cli.assess import FILE
from fadewatch_collector.cli.context import fail
from fadewatch_collector.cli.history_file import load
from fadewatch_collector.cli.progress import progress
from fadewatch_collector.cli.tables import print_table
from fadewatch_collector.usecases.assess_file import conclusions, last_days
from fadewatch_collector.usecases.backtest import Step, replay, steps
from fadewatch_collector.usecases.backtest_score import (
    SOON,
    Alarms,
    Asked,
    Forecasts,
    Score,
    Scorer,
)


@click.command("backtest")
@click.argument("file", type=FILE)
@click.option(
    "--step-days",
    type=click.IntRange(1, 366),
    default=7,
    show_default=True,
    help="Days between two assessments of a pack.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, writable=True, path_type=Path),
    metavar="FILE.jsonl",
    help="Write every assessment, one JSON object a line, in time order.",
)
@click.option("--strict", is_flag=True, help="Stop at the first row that is not right.")
def backtest_command(
    file: Path, step_days: int, out: Path | None, *, strict: bool
) -> None:
    """Say what would have been said, day by day, and how it turned out.

    FILE has the columns that 'assess' takes. An assessment of a day uses readings up
    to that day and no later one.
    """
    histories = load(file, strict=strict).histories
    scorer = Scorer(last_days(histories), step_days)
    with ExitStack() as stack:
        lines = stack.enter_context(_opened(out)) if out else None
        advance = stack.enter_context(
            progress("replaying", len(steps(histories, step_days)))
        )
        for step in replay(histories, step_days, advance=advance):
            scorer.add(step)
            if lines is not None:
                _write(lines, step)
    _print_score(scorer.score(), step_days)


def _opened(out: Path) -> TextIO:
    try:
        return out.open("w", encoding="utf-8", newline="\n")
    except OSError as problem:
        fail(f"{out} cannot be written: {problem.strerror}")


def _write(lines: TextIO, step: Step) -> None:
    for one in conclusions(step.figures):
        lines.write(json.dumps(one.as_json(), allow_nan=False, ensure_ascii=False))
        lines.write("\n")


def _print_score(score: Score, step_days: int) -> None:
    click.echo(
        f"{score.packs:,} packs, one assessment every {step_days} days: "
        f"{score.lines:,} assessments over {score.pack_years:,.1f} pack-years."
    )
    _print_alarms(score.alarms, score.pack_years)
    for forecasts in (score.plan, score.replace):
        _print_forecasts(forecasts)


def _print_alarms(alarms: Alarms, pack_years: float) -> None:
    click.echo("\nSudden drops")
    click.echo(f"  {_count(alarms.borne_out, 'drop')} told and borne out", nl=False)
    if alarms.median_delay is not None and alarms.in_time is not None:
        click.echo(
            f": half of them within {alarms.median_delay:.0f} days of the fall, "
            f"{_share(alarms.in_time)} within {SOON} days."
        )
    else:
        click.echo(".")
    rate = 1000 * alarms.withdrawn / pack_years if pack_years else 0.0
    click.echo(
        f"  {_count(alarms.withdrawn, 'alarm')} told and withdrawn: {rate:.1f} for "
        "every 1,000 pack-years."
    )


def _print_forecasts(forecasts: Forecasts) -> None:
    click.echo(
        f"\nForecasts of wear {100 * forecasts.wear:.0f} % "
        f"({_count(forecasts.crossed, 'pack')} came to it)"
    )
    if forecasts.asked:
        print_table(
            ("  asked at", "packs", "half erred by", "told too late", "inside 80 %"),
            [_row(one) for one in forecasts.asked],
        )
    closed = forecasts.closed
    if closed is not None:
        click.echo(
            f"  Of {closed.intervals:,} intervals that have run out, the pack came to "
            f"it inside {_share(closed.inside)}, earlier {_share(closed.before)}, "
            f"later or not yet {_share(closed.after)}."
        )


def _row(asked: Asked) -> tuple[str, ...]:
    error = asked.median_error
    return (
        f"  {_share(asked.way)} of the way",
        f"{asked.packs:,}",
        "no crossing seen" if isinf(error) else f"{_share(error)} of the time left",
        _share(asked.late),
        _share(asked.inside),
    )


def _share(fraction: float) -> str:
    return f"{100 * fraction:.0f} %"


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"
