"""The collector's command line."""

import os
from importlib import import_module

import click

from fadewatch_common import __version__

# The analysis works on one processor; threads that numpy's linear algebra starts
# beside it only get in its way. Read when numpy is imported, which is later.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

COMMANDS = {
    "assess": "assess:assess_command",
    "background": "background:background_command",
    "backtest": "backtest:backtest_command",
    "database": "database:database_group",
    "demo": "demo:demo_command",
    "export": "export:export_group",
    "forget": "forget:forget_group",
    "import": "import_places:import_group",
    "route": "route:route_group",
    "serve": "serve:serve_command",
    "token": "token:token_group",
    "user": "user:user_group",
}
"""Where each command is; it is imported when it is asked for, so none pays for all."""


class OnDemand(click.Group):
    """A group that imports a command when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        module, name = COMMANDS[cmd_name].split(":")
        command: click.Command = getattr(
            import_module(f"fadewatch_collector.cli.{module}"), name
        )
        return command


@click.group(cls=OnDemand, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fadewatch-collector")
def main() -> None:
    """Keep the fleet's packs in view: history, alerts and a fleet health CSV."""
