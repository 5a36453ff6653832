"""The collector's command line."""

import click

from fadewatch_collector.cli.assess import assess_command
from fadewatch_collector.cli.backtest import backtest_command
from fadewatch_collector.cli.demo import demo_command
from fadewatch_collector.cli.export import export_group
from fadewatch_collector.cli.import_places import import_group
from fadewatch_collector.cli.serve import serve_command
from fadewatch_collector.cli.token import token_group
from fadewatch_collector.cli.user import user_group
from fadewatch_common import __version__


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fadewatch-collector")
def main() -> None:
    """Keep the fleet's packs in view: history, alerts and a fleet health CSV."""


for command in (
    serve_command,
    demo_command,
    token_group,
    user_group,
    export_group,
    import_group,
    assess_command,
    backtest_command,
):
    main.add_command(command)
