"""The agent's commands and their exit codes.

====  ==========================================================================
code  means
====  ==========================================================================
0     done; for ``report``: everything queued was delivered, or another run is at it
1     something else went wrong; the message says what
2     the command line is wrong
3     ``read``: there is no pack; the rest was read and printed
4     ``report``: queued, not delivered
5     ``report``: not configured, or not enrolled and without a token; the reading
      waits in the queue if it is known which collector is meant
6     ``report``: queued, and the collector refused the key or token
7     ``check-image``: the image may not be copied; ``verify``: a file was changed
10    ``bench``: ready with remarks (0 is ready)
20    ``bench``: not ready
====  ==========================================================================

What only one command needs is imported when it runs: ``read`` never pays for TLS.
"""

import gc
import os
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from fadewatch_agent.arguments import PROGRAM, UsageError, parse
from fadewatch_agent.configuration import Settings, load_settings
from fadewatch_agent.errors import (
    AgentError,
    InvalidConfiguration,
    NotEnrolled,
    Refused,
)
from fadewatch_agent.options import COMMANDS
from fadewatch_agent.periods import seconds_of
from fadewatch_agent.readers.machine import Machine
from fadewatch_agent.reading import Moment, random_bits, take_reading
from fadewatch_agent.system import saved_tree, this_machine
from fadewatch_agent.ticking import ticks
from fadewatch_common import __version__

DONE = 0
FAILED = 1
WRONG_USAGE = 2
NO_PACK = 3
QUEUED = 4
NOT_CONFIGURED = 5
REFUSED = 6
NOT_AS_IT_SHOULD_BE = 7

PATIENCE_SECONDS = 60.0
"""Longest time that one run spends waiting for a collector to come back [s]."""

Values = Mapping[str, str]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    words = sys.argv[1:] if arguments is None else arguments
    # Names come from firmware; a terminal that cannot show one must not stop us.
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    try:
        return guarded(lambda: _run(words))
    except UsageError as error:
        return _complain(error, WRONG_USAGE)


def guarded(action: Callable[[], int]) -> int:
    """Do something; say what stands in its way and return the code for it."""
    try:
        return action()
    except UsageError:
        raise
    except InvalidConfiguration as error:
        return _complain(error, NOT_CONFIGURED)
    except PermissionError as error:
        return _complain(f"{error}; this takes root or an administrator", FAILED)
    except (AgentError, OSError) as error:
        return _complain(error, FAILED)


def _run(words: Sequence[str]) -> int:
    if list(words) == ["--version"]:
        sys.stdout.write(f"{__version__}\n")
        return DONE
    chosen = parse(words, COMMANDS)
    if chosen.command is None:
        sys.stdout.write(chosen.text)
        return DONE
    return _ACTIONS[chosen.command](chosen.values)


def _read(values: Values) -> int:
    report = take_reading(_machine(values), _now(), None, time.sleep).report
    if "json" in values:
        import json  # noqa: PLC0415

        from fadewatch_common.encoding import to_plain  # noqa: PLC0415

        sys.stdout.write(json.dumps(to_plain(report), indent=2) + "\n")
    else:
        from fadewatch_agent.readout import readout  # noqa: PLC0415

        sys.stdout.write(readout(report))
    return DONE if report.packs else NO_PACK


def _bench(values: Values) -> int:
    from fadewatch_agent.bench_command import run_bench  # noqa: PLC0415

    return run_bench(values, _machine(values), _now(), _settings)


def _report(values: Values) -> int:
    from fadewatch_agent.delivery import Patience  # noqa: PLC0415
    from fadewatch_agent.reporting import Surroundings, report  # noqa: PLC0415

    settings = _settings(values)
    patience = Patience(_seconds(values), time.sleep, _jitter)
    _wait_if_enrolled(settings, _time(values, "delay"))
    spread = _time(values, "spread")
    around = Surroundings(_machine(values), _now(), patience, spread)
    result = report(settings, around)
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


def _watch(values: Values) -> int:
    from fadewatch_agent.watching import (  # noqa: PLC0415
        Rhythm,
        end_on_signals,
        wait_until_due,
    )

    # This process lives long: it has to look for cycles after all.
    gc.enable()
    end_on_signals()
    rhythm = Rhythm(time.time, time.sleep, _jitter)
    while True:
        # Settings may be dropped or corrected while it waits.
        guarded(lambda: _report(values))
        wait_until_due(_settings(values).every_minutes * 60.0, rhythm)


def _status(values: Values) -> int:
    from fadewatch_agent.standing import standing, standing_text  # noqa: PLC0415

    now = standing(_settings(values), datetime.now(UTC))
    if "json" in values:
        import json  # noqa: PLC0415

        sys.stdout.write(json.dumps(now._asdict(), indent=2) + "\n")
    else:
        sys.stdout.write(standing_text(now))
    return DONE


def _install(values: Values) -> int:
    from fadewatch_agent.installation.commands import run_install  # noqa: PLC0415

    run_install(values)
    return DONE


def _uninstall(values: Values) -> int:
    from fadewatch_agent.installation.commands import run_uninstall  # noqa: PLC0415

    run_uninstall(values)
    return DONE


def _check_image(values: Values) -> int:
    from fadewatch_agent.installation.commands import run_check_image  # noqa: PLC0415

    return _verdict("the image holds nothing of this laptop", run_check_image(values))


def _verify(_: Values) -> int:
    from fadewatch_agent.installation.commands import run_verify  # noqa: PLC0415

    return _verdict(*run_verify())


def _verdict(good: str, problems: Sequence[str]) -> int:
    sys.stderr.write("".join(f"{problem}\n" for problem in problems))
    if problems:
        return NOT_AS_IT_SHOULD_BE
    sys.stdout.write(f"{good}\n")
    return DONE


_ACTIONS = {
    "read": _read,
    "bench": _bench,
    "report": _report,
    "watch": _watch,
    "status": _status,
    "install": _install,
    "uninstall": _uninstall,
    "check-image": _check_image,
    "verify": _verify,
}


def _machine(values: Values) -> Machine:
    if "root" not in values:
        return this_machine()
    root = Path(values["root"])
    if not root.is_dir():
        raise UsageError(f"{root} is not a folder")
    return saved_tree(root)


def _now() -> Moment:
    return Moment(datetime.now(UTC), random_bits(), ticks())


def _settings(values: Values) -> Settings:
    file = values.get("config")
    options = {
        name.replace("-", "_"): values[name]
        for name in ("collector", "token-file", "ca", "proxy", "state", "every")
        if name in values
    }
    return load_settings(Path(file) if file else None, options)


def _jitter(most: float) -> float:
    # The random module would cost more than the whole wait is worth.
    return most * int.from_bytes(os.urandom(4)) / 2**32


def _seconds(values: Values) -> float:
    text = values.get("patience", str(PATIENCE_SECONDS))
    try:
        seconds = float(text)
    except ValueError as error:
        raise UsageError(f"--patience needs a number, not {text!r}") from error
    if not seconds >= 0:
        raise UsageError("--patience cannot be below 0")
    return seconds


def _time(values: Values, name: str) -> float:
    try:
        return seconds_of(values.get(name, "0"))
    except InvalidConfiguration as error:
        raise UsageError(f"--{name}: {error}") from error


def _wait_if_enrolled(settings: Settings, most: float) -> None:
    """Wait at random where the system's timer does not; a first report never waits."""
    from fadewatch_agent.enrolment import kept_enrolment  # noqa: PLC0415

    if most and kept_enrolment(settings.state) is not None:
        time.sleep(_jitter(most))


def _code(obstacle: Exception) -> int:
    if isinstance(obstacle, Refused):
        return REFUSED
    unprepared = isinstance(obstacle, (InvalidConfiguration, NotEnrolled))
    return NOT_CONFIGURED if unprepared else QUEUED


def _complain(error: Exception | str, code: int) -> int:
    sys.stderr.write(f"{PROGRAM}: {error}\n")
    return code
