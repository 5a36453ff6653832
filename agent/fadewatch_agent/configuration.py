"""The agent's settings: one TOML file, overridden by options."""

import re
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import SplitResult, urlsplit

from fadewatch_agent.errors import InvalidConfiguration
from fadewatch_agent.periods import DEFAULT as DEFAULT_PERIOD
from fadewatch_agent.periods import minutes_of
from fadewatch_agent.places import here

DEFAULT_FILE = Path(here(sys.platform).settings)
DEFAULT_STATE = Path(here(sys.platform).state)
QUEUE_LIMIT = 5000
"""Reports kept while the collector cannot be reached: over three years at four a day."""

_LEAST_QUEUE = 10
_PATHS = ("token_file", "ca", "state")
_KEYS = ("collector", "token", *_PATHS, "proxy", "every", "queue_limit")
_LOOPBACK = r"localhost|::1|127(\.\d{1,3}){3}"


class Settings(NamedTuple):
    """What the agent was told.

    Attributes
    ----------
    collector
        Address of the collector, without a slash at its end; None when unset.
    token
        The enrolment token itself, for a settings file that nobody else may read.
    token_file
        File with the enrolment token; it comes before ``token``.
    ca
        File with the certificates to trust in place of the system's.
    proxy
        Address of the proxy to the collector; None for the system's.
    every_minutes
        How often to read [min]: for ``install`` and ``watch``.
    state
        Folder of the queue, the key and what is known of the last run.
    queue_limit
        Most reports that wait in the queue.
    """

    collector: str | None = None
    token: str | None = None
    token_file: Path | None = None
    ca: Path | None = None
    proxy: str | None = None
    every_minutes: int = minutes_of(DEFAULT_PERIOD)
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
    used = file or DEFAULT_FILE
    values = read_settings(used) if file is not None or used.exists() else {}
    # The usual token stands beside the settings, wherever these stand.
    usual = used.with_name("token")
    if "token_file" not in values and usual.exists():
        values["token_file"] = str(usual)
    return settings_from(values | dict(options))


def settings_from(values: Mapping[str, Any]) -> Settings:
    """Check values of a settings file and options.

    Raises
    ------
    InvalidConfiguration
        One of them cannot be used.
    """
    limit = values.get("queue_limit", QUEUE_LIMIT)
    if not isinstance(limit, int) or limit < _LEAST_QUEUE:
        raise InvalidConfiguration(
            f"queue_limit must be a number from {_LEAST_QUEUE} upwards"
        )
    texts = {name: _text(values, name) for name in values.keys() - {"queue_limit"}}
    collector, proxy = texts.get("collector"), texts.get("proxy")
    return Settings(
        collector=None if collector is None else checked_address(collector),
        token=texts.get("token"),
        proxy=None if proxy is None else _checked_proxy(proxy),
        every_minutes=minutes_of(texts.get("every", DEFAULT_PERIOD)),
        queue_limit=limit,
        **{name: Path(texts[name]) for name in _PATHS if name in texts},
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


def _checked_proxy(address: str) -> str:
    try:
        parts = urlsplit(address)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname)
        _ = parts.port
    except ValueError:
        usable = False
    if not usable:
        # Not the address itself: it may hold the account's password.
        raise InvalidConfiguration("proxy must be an address such as http://proxy:3128")
    return address


def read_settings(file: Path) -> dict[str, Any]:
    """Read a settings file as it stands.

    Raises
    ------
    InvalidConfiguration
        It is missing, is no TOML or holds a setting that there is not.
    """
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise InvalidConfiguration(f"{file} does not exist") from error
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidConfiguration(f"{file} cannot be read: {error}") from error
    return parse_settings(text, str(file))


def parse_settings(text: str, file: str) -> dict[str, Any]:
    """Understand the text of a settings file.

    Raises
    ------
    InvalidConfiguration
        It is no TOML or holds a setting that there is not.
    """
    # Only a run that finds a file pays for the parser.
    import tomllib  # noqa: PLC0415

    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # TOMLDecodeError is a ValueError; a number of 5,000 digits is a bare one.
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
