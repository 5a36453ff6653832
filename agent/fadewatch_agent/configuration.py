"""The agent's settings: one TOML file, overridden by options."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import SplitResult, urlsplit

from fadewatch_agent.errors import InvalidConfiguration

DEFAULT_FILE = Path("/etc/fadewatch/agent.toml")
DEFAULT_STATE = Path("/var/lib/fadewatch-agent")
QUEUE_LIMIT = 5000
"""Reports kept while the collector cannot be reached: over three years at four a day."""

_LEAST_QUEUE = 10
_PATHS = ("token_file", "ca", "state")
_KEYS = ("collector", *_PATHS, "queue_limit")
_LOOPBACK = r"localhost|::1|127(\.\d{1,3}){3}"


class Settings(NamedTuple):
    """What the agent was told.

    Attributes
    ----------
    collector
        Address of the collector, without a slash at its end; None when unset.
    token_file
        File with the enrolment token.
    ca
        File with the certificates to trust in place of the system's.
    state
        Folder of the queue, the key and what is known of the last run.
    queue_limit
        Most reports that wait in the queue.
    """

    collector: str | None = None
    token_file: Path | None = None
    ca: Path | None = None
    state: Path = DEFAULT_STATE
    queue_limit: int = QUEUE_LIMIT


def load_settings(file: Path | None, options: Mapping[str, str]) -> Settings:
    """Read the settings; options that are set come before the file.

    Parameters
    ----------
    file
        The file to read; None for the usual one, which may be missing.
    options
        Settings of the command line.

    Raises
    ------
    InvalidConfiguration
        The file cannot be read or holds something that cannot be used.
    """
    values = _from_file(file or DEFAULT_FILE, must_exist=file is not None)
    values |= options
    collector = values.get("collector")
    limit = values.get("queue_limit", QUEUE_LIMIT)
    if not isinstance(limit, int) or limit < _LEAST_QUEUE:
        raise InvalidConfiguration(
            f"queue_limit must be a number from {_LEAST_QUEUE} upwards"
        )
    return Settings(
        collector=None
        if collector is None
        else checked_address(_text(values, "collector")),
        queue_limit=limit,
        **{name: Path(_text(values, name)) for name in _PATHS if name in values},
    )


def checked_address(address: str) -> str:
    """Return a collector's address fit to carry a key, without a slash at its end.

    Raises
    ------
    InvalidConfiguration
        It is no https address, nor an http address of this machine itself.
    """
    try:
        parts = urlsplit(address)
        _ = parts.port
    except ValueError as error:
        raise InvalidConfiguration(f"collector {address!r}: {error}") from error
    if parts.scheme not in ("https", "http") or not parts.hostname:
        raise InvalidConfiguration(f"collector {address!r} is not an https address")
    if parts.username or parts.password or parts.query or parts.fragment:
        raise InvalidConfiguration(
            "collector must be an address alone, without an account, ? or #"
        )
    if not re.fullmatch(r"[!-~]+", address):
        raise InvalidConfiguration(f"collector {address!r} holds odd characters")
    if parts.scheme == "http" and not is_loopback(parts):
        raise InvalidConfiguration(
            f"collector {address!r}: plain http would show the key to the network; "
            "use https (plain http works for this machine itself only)"
        )
    return address.rstrip("/")


def is_loopback(parts: SplitResult) -> bool:
    """Say whether an address means this machine itself."""
    return re.fullmatch(_LOOPBACK, parts.hostname or "") is not None


def _from_file(file: Path, *, must_exist: bool) -> dict[str, Any]:
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        if must_exist:
            raise InvalidConfiguration(f"{file} does not exist") from error
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidConfiguration(f"{file} cannot be read: {error}") from error
    return _parsed(text, file)


def _parsed(text: str, file: Path) -> dict[str, Any]:
    # Only a run that finds a file pays for the parser.
    import tomllib  # noqa: PLC0415

    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InvalidConfiguration(f"{file}: {error}") from error
    if unknown := sorted(values.keys() - set(_KEYS)):
        raise InvalidConfiguration(
            f"{file}: unknown setting {', '.join(unknown)}; there are {', '.join(_KEYS)}"
        )
    return values


def _text(values: Mapping[str, Any], name: str) -> str:
    value = values[name]
    if not isinstance(value, str) or not value:
        raise InvalidConfiguration(f"{name} must be text")
    return value
