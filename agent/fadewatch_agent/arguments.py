"""The command line, from a table.

``argparse`` would cost a fifth of what a whole ``report`` may take.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from fadewatch_agent.errors import AgentError

PROGRAM = "fadewatch-agent"


class UsageError(AgentError, ValueError):
    """The command line cannot be understood."""


class Option(NamedTuple):
    """One option; ``value`` names what it takes, empty for a plain switch."""

    name: str
    help: str
    value: str = ""


class Command(NamedTuple):
    """One command."""

    help: str
    options: tuple[Option, ...]


class Chosen(NamedTuple):
    """What a command line asks for.

    Attributes
    ----------
    command
        Name of the command, or None when ``text`` is all that is asked for.
    values
        By option, its value; empty for a switch.
    text
        The help that was asked for.
    """

    command: str | None
    values: Mapping[str, str]
    text: str = ""


def parse(arguments: Sequence[str], commands: Mapping[str, Command]) -> Chosen:
    """Understand a command line.

    Raises
    ------
    UsageError
        It names no command, an unknown option, or no value where one is needed.
    """
    name, *rest = arguments or ("",)
    if name in ("-h", "--help"):
        return Chosen(None, {}, overview(commands))
    if name not in commands:
        known = ", ".join(commands)
        raise UsageError(f"the first word must be one of {known}; --help tells more")
    if "-h" in rest or "--help" in rest:
        return Chosen(None, {}, usage(name, commands[name]))
    return Chosen(name, _values(name, rest, commands[name]))


def overview(commands: Mapping[str, Command]) -> str:
    """Say which commands there are."""
    width = max(map(len, commands), default=0) + 2
    lines = [f"  {name:<{width}}{command.help}" for name, command in commands.items()]
    hint = f"{PROGRAM} COMMAND --help tells its options; --version the version."
    return "\n".join((f"{PROGRAM} COMMAND [OPTIONS]", "", *lines, "", hint)) + "\n"


def usage(name: str, command: Command) -> str:
    """Say what one command does and takes."""
    heads = [f"--{o.name} {o.value}".rstrip() for o in command.options]
    width = max(map(len, heads), default=0) + 2
    lines = [
        f"  {head:<{width}}{option.help}"
        for head, option in zip(heads, command.options, strict=True)
    ]
    head = f"{PROGRAM} {name} [OPTIONS]: {command.help}"
    return "\n".join((head, "", *lines)) + "\n"


def _values(name: str, rest: Sequence[str], command: Command) -> dict[str, str]:
    options = {f"--{option.name}": option for option in command.options}
    values: dict[str, str] = {}
    words = iter(rest)
    for word in words:
        head, equals, given = word.partition("=")
        option = options.get(head)
        if option is None:
            raise UsageError(f"{name} has no option {word!r}; --help lists them")
        if not option.value and equals:
            raise UsageError(f"{head} takes no value")
        if option.value and not equals:
            given = next(words, "")
        if option.value and not given:
            raise UsageError(f"{head} needs a value")
        values[option.name] = given
    return values
