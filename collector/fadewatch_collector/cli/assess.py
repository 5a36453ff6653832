"""Assess histories from a CSV file."""

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path

import click

from fadewatch_collector.cli.history_file import load
from fadewatch_collector.cli.progress import progress
from fadewatch_collector.cli.tables import print_table
from fadewatch_collector.rules.assessment import Assessment, CrossingDates
from fadewatch_collector.rules.concern import RANKED
from fadewatch_collector.rules.messages import one_line
from fadewatch_collector.usecases.assess_file import (
    assess_histories,
    newest_day,
    readings_after,
)

MOST_SHOWN = 40
"""Packs in the table, the most urgent first. Ours."""

EPOCH = date(1970, 1, 1)
FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command("assess")
@click.argument("file", type=FILE)
@click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="Day of the assessment; nothing later is looked at. The newest day of the "
    "file when it is left out.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line a pack.")
@click.option("--all", "show_all", is_flag=True, help="Every pack in the table.")
@click.option("--reasons", "in_full", is_flag=True, help="Every reason of a concern.")
@click.option("--strict", is_flag=True, help="Stop at the first row that is not right.")
def assess_command(
    file: Path,
    as_of: datetime | None,
    *,
    as_json: bool,
    show_all: bool,
    in_full: bool,
    strict: bool,
) -> None:
    """Assess pack histories from a CSV file; no service is needed.

    FILE has the columns pack_id, measured_at, design_capacity, full_charge_capacity
    and cycle_count. The two capacities of a row are in one unit, whichever it is;
    cycle_count may be empty.
    """
    histories = load(file, strict=strict).histories
    newest = newest_day(histories)
    day = (as_of.date() - EPOCH).days if as_of else newest or 0
    later = readings_after(histories, day)
    if later:
        click.echo(
            f"{later:,} readings after {_date(day)} are not looked at.", err=True
        )
    with progress("assessing", len(histories)) as advance:
        made = list(assess_histories(histories, day, advance=advance))
    if as_json:
        _print_json(made)
    else:
        _print_summary(made, _date(day))
        _print_packs(made, None if show_all else MOST_SHOWN, in_full=in_full)


def _date(day: int) -> date:
    return date.fromordinal(EPOCH.toordinal() + day)


def _print_json(made: Iterable[Assessment]) -> None:
    for one in made:
        click.echo(json.dumps(one.as_json(), allow_nan=False, ensure_ascii=False))


def _print_summary(made: Sequence[Assessment], as_of: date) -> None:
    concerns = Counter(one.concern for one in made)
    told = ", ".join(
        f"{concerns[concern]:,} {concern}"
        for concern in reversed(RANKED)
        if concerns[concern]
    )
    packs = "pack" if len(made) == 1 else "packs"
    click.echo(f"{len(made):,} {packs} as of {as_of}. Concern: {told}.\n")


def _print_packs(
    made: Sequence[Assessment], most: int | None, *, in_full: bool
) -> None:
    ranked = sorted(made, key=_urgency)
    shown = ranked[:most]
    print_table(
        ("pack", "wear", "band", "a month", "plan", "replace", "gauge", "concern"),
        [_row(one) for one in shown],
    )
    left = len(ranked) - len(shown)
    if left:
        click.echo(f"... and {left:,} less urgent; --all shows every pack.")
    concerned = [one for one in shown if one.concern != "none" and one.reasons]
    if in_full:
        _print_reasons(concerned)
    elif concerned:
        click.echo("")
        print_table(
            ("pack", "concern", "because (--reasons tells all)"),
            [(one.pack_id, one.concern, one.reasons[0]) for one in concerned],
        )


def _urgency(one: Assessment) -> tuple[int, float]:
    return -RANKED.index(one.concern), -(one.wear_percent or 0.0)


def _row(one: Assessment) -> tuple[str, ...]:
    fade = one.fade_percent_per_month
    return (
        one.pack_id,
        "-" if one.wear_percent is None else f"{one.wear_percent:.1f} %",
        one.band,
        "-" if fade is None else f"{fade.estimate:.2f} %",
        _crossing(one.crossings.plan, past=one.band in {"plan", "replace"}),
        _crossing(one.crossings.replace, past=one.band == "replace"),
        one.gauge,
        one.concern,
    )


def _crossing(crossing: CrossingDates | None, *, past: bool) -> str:
    if past:
        return "past"
    return "-" if crossing is None else f"{crossing.on:%Y-%m}"


def _print_reasons(concerned: Iterable[Assessment]) -> None:
    for one in concerned:
        click.echo(f"\n{one_line(one.pack_id)}: {one.concern}")
        for reason in one.reasons:
            click.echo(f"  {reason}")
