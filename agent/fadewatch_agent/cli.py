"""The agent's commands and their exit codes.

====  ==========================================================================
code  means
====  ==========================================================================
0     done; for ``report``: everything queued was delivered, or another run is at it
1     something else went wrong; the message says what
2     the command line is wrong
3     ``read``: there is no pack; the rest was read and printed
4     ``report``: queued, not delivered
5     ``report``: not configured, or not enrolled and without a token
6     ``report``: queued, and the collector refused the key or token
====  ==========================================================================

What only one command needs is imported when it runs: ``read`` never pays for TLS.
"""

import argparse
import sys
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from fadewatch_agent.configuration import Settings, load_settings
from fadewatch_agent.errors import (
    AgentError,
    InvalidConfiguration,
    NotEnrolled,
    Refused,
)
from fadewatch_agent.readers.files import SystemFiles
from fadewatch_agent.reading import Moment, random_bits, take_reading
from fadewatch_common import __version__

DONE = 0
FAILED = 1
NO_PACK = 3
QUEUED = 4
NOT_CONFIGURED = 5
REFUSED = 6

PATIENCE_SECONDS = 60.0
"""Longest time that one run spends waiting for a collector to come back [s]."""

_OPTIONS = ("collector", "token_file", "ca", "state")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    chosen = _parser().parse_args(arguments)
    # Names come from firmware; a terminal that cannot show one must not stop us.
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    try:
        return _COMMANDS[chosen.command](chosen)
    except InvalidConfiguration as error:
        return _complain(error, NOT_CONFIGURED)
    except (AgentError, OSError) as error:
        return _complain(error, FAILED)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fadewatch-agent",
        description="Read this laptop's packs, memory and drives, and report them.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(dest="command", required=True)
    read = commands.add_parser("read", help="read this laptop now and print it")
    read.add_argument("--json", action="store_true", help="print the report as JSON")
    read.add_argument("--root", type=Path, help="read a saved tree of /sys and /proc")
    report = commands.add_parser(
        "report", help="read, queue on disk, deliver what is queued"
    )
    report.add_argument("--root", type=Path, help="read a saved tree of /sys and /proc")
    report.add_argument(
        "--patience",
        type=float,
        default=PATIENCE_SECONDS,
        metavar="SECONDS",
        help="wait at most this long for the collector to come back (default 60)",
    )
    status = commands.add_parser("status", help="show queue, last delivery, last error")
    status.add_argument("--json", action="store_true", help="print it as JSON")
    for command in (report, status):
        _add_settings(command)
    return parser


def _add_settings(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--config", type=Path, help="settings file (default /etc/fadewatch/agent.toml)"
    )
    command.add_argument("--collector", metavar="URL", help="address of the collector")
    command.add_argument("--token-file", metavar="FILE", help="enrolment token")
    command.add_argument("--ca", metavar="FILE", help="certificates to trust instead")
    command.add_argument("--state", metavar="DIR", help="folder of queue and key")


def _read(chosen: argparse.Namespace) -> int:
    report = take_reading(_files(chosen), _now(), None, time.sleep)
    if chosen.json:
        import json  # noqa: PLC0415

        from fadewatch_common.encoding import to_plain  # noqa: PLC0415

        sys.stdout.write(json.dumps(to_plain(report), indent=2) + "\n")
    else:
        from fadewatch_agent.readout import readout  # noqa: PLC0415

        sys.stdout.write(readout(report))
    return DONE if report.packs else NO_PACK


def _report(chosen: argparse.Namespace) -> int:
    import random  # noqa: PLC0415

    from fadewatch_agent.delivery import Patience  # noqa: PLC0415
    from fadewatch_agent.reporting import Surroundings, report  # noqa: PLC0415

    # Not secret: it spreads the laptops of a fleet over time.
    chance = random.SystemRandom()
    patience = Patience(
        chosen.patience, time.sleep, lambda most: chance.uniform(0, most)
    )
    around = Surroundings(_files(chosen), _now(), patience)
    result = report(_settings(chosen), around)
    if result.busy:
        sys.stdout.write("another report is running; nothing to do\n")
        return DONE
    if result.obstacle is not None:
        sys.stderr.write(f"queued, {result.waiting} waiting\n")
        return _complain(result.obstacle, _code(result.obstacle))
    rejected = result.delivered.rejected
    sys.stdout.write(f"delivered {result.delivered.reports}")
    sys.stdout.write(f", rejected {rejected} (see status)\n" if rejected else "\n")
    return DONE


def _status(chosen: argparse.Namespace) -> int:
    from fadewatch_agent.standing import standing, standing_text  # noqa: PLC0415

    now = standing(_settings(chosen))
    if chosen.json:
        import json  # noqa: PLC0415

        sys.stdout.write(json.dumps(now._asdict(), indent=2) + "\n")
    else:
        sys.stdout.write(standing_text(now))
    return DONE


_COMMANDS = {"read": _read, "report": _report, "status": _status}


def _files(chosen: argparse.Namespace) -> SystemFiles:
    return SystemFiles(chosen.root or Path("/"))


def _now() -> Moment:
    return Moment(datetime.now(UTC), random_bits())


def _settings(chosen: argparse.Namespace) -> Settings:
    return load_settings(
        chosen.config, {name: getattr(chosen, name) for name in _OPTIONS}
    )


def _code(obstacle: Exception) -> int:
    if isinstance(obstacle, Refused):
        return REFUSED
    return NOT_CONFIGURED if isinstance(obstacle, NotEnrolled) else QUEUED


def _complain(error: Exception, code: int) -> int:
    sys.stderr.write(f"fadewatch-agent: {error}\n")
    return code
