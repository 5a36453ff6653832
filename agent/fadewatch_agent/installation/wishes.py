"""What is wanted: by options, by a dropped file, by what was set up before.

The first of them that says something about a setting decides about it.
"""

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

from fadewatch_agent.configuration import (
    Settings,
    read_settings,
    settings_from,
)
from fadewatch_agent.errors import InvalidConfiguration
from fadewatch_agent.secret import checked_token, read_token_file

DROPPED = "agent.toml"
"""Name of the settings file that may be dropped beside the program."""


class Wishes(NamedTuple):
    """What to set up.

    Attributes
    ----------
    settings
        The settings, as they will stand in the settings file.
    token
        The enrolment token, or None to leave what is there.
    ca
        Bytes of the certificates to trust, or None for the system's.
    """

    settings: Settings
    token: str | None
    ca: bytes | None


class Kept(NamedTuple):
    """What is in place already.

    Attributes
    ----------
    values
        What the settings file holds, without token and certificates.
    token
        A token that stands among the settings, to be put into its own file.
    ca
        Bytes of the certificates to trust.
    """

    values: Mapping[str, Any] = MappingProxyType({})
    token: str | None = None
    ca: bytes | None = None


def wishes(
    options: Mapping[str, str], token: str | None, beside: Path, kept: Kept
) -> Wishes:
    """Put together what is wanted.

    Parameters
    ----------
    options
        ``collector``, ``ca``, ``proxy`` and ``every`` of the command line.
    token
        The token that was handed over, or None.
    beside
        Settings file dropped beside the program; it may be missing.

    Raises
    ------
    InvalidConfiguration
        No collector is named, or something cannot be used.
    """
    dropped = _dropped(beside)
    values = {**kept.values, **dropped, **options}
    if not values.get("collector"):
        raise InvalidConfiguration(
            "no collector is named: give --collector URL, or put a file "
            f"{DROPPED} with collector = ... beside the program"
        )
    settings = settings_from(values)
    return Wishes(
        settings=settings,
        token=token or _dropped_token(dropped) or kept.token,
        ca=kept.ca if settings.ca is None else _certificates(settings.ca),
    )


def _dropped(beside: Path) -> dict[str, Any]:
    """Read the dropped file; paths in it count from where it stands."""
    if not beside.is_file():
        return {}
    values = read_settings(beside)
    for name in ("ca", "token_file"):
        if isinstance(values.get(name), str):
            values[name] = str(beside.parent / values[name])
    return values


def _dropped_token(dropped: Mapping[str, Any]) -> str | None:
    if isinstance(dropped.get("token"), str):
        return checked_token(dropped["token"], "the token of the dropped file")
    if isinstance(dropped.get("token_file"), str):
        return read_token_file(Path(dropped["token_file"]))
    return None


def _certificates(file: Path) -> bytes:
    try:
        content = file.read_bytes()
    except OSError as error:
        raise InvalidConfiguration(f"ca {file} cannot be read: {error}") from error
    if b"-----BEGIN CERTIFICATE-----" not in content:
        raise InvalidConfiguration(f"ca {file} holds no certificate in PEM form")
    return content
