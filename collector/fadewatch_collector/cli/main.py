"""The collector's command line."""

import click

from fadewatch_collector.cli.demo import demo_command
from fadewatch_collector.cli.serve import serve_command
from fadewatch_collector.cli.token import token_group
from fadewatch_common import __version__


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fadewatch-collector")
def main() -> None:
    """Keep the fleet's packs in view: history, alerts and a fleet health CSV."""


main.add_command(serve_command)
main.add_command(demo_command)
main.add_command(token_group)
