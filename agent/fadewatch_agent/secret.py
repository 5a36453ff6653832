"""Read the enrolment token from where it was put, and never from a command line."""

import os
import sys
from pathlib import Path

from fadewatch_agent.errors import InvalidConfiguration

LONGEST = 4096
"""Most characters of a token or key."""


def is_secret(text: object) -> bool:
    """Say whether it can go into a header: visible ASCII alone."""
    if not isinstance(text, str) or not text or len(text) > LONGEST:
        return False
    return all("!" <= character <= "~" for character in text)


def checked_token(text: str, where: str) -> str:
    """Return a token without the white space around it.

    Raises
    ------
    InvalidConfiguration
        It is no token.
    """
    token = text.strip()
    if not is_secret(token):
        raise InvalidConfiguration(f"{where} holds no token")
    return token


def read_token_file(file: Path) -> str:
    """Read a token from a file; ``-`` is standard input.

    Raises
    ------
    InvalidConfiguration
        There is no token in it.
    """
    if str(file) == "-":
        return read_token_descriptor(sys.stdin.fileno())
    try:
        with file.open("rb") as stream:
            raw = stream.read(LONGEST + 1)
    except OSError as error:
        raise InvalidConfiguration(f"the token cannot be read: {error}") from error
    return checked_token(raw.decode("ascii", "replace"), str(file))


def read_token_descriptor(descriptor: int) -> str:
    """Read a token from an open file descriptor, to its end.

    Raises
    ------
    InvalidConfiguration
        There is no token in it.
    """
    try:
        with open(os.dup(descriptor), "rb") as stream:  # noqa: PTH123
            raw = stream.read(LONGEST + 1)
    except OSError as error:
        raise InvalidConfiguration(
            f"the token cannot be read from descriptor {descriptor}: {error}"
        ) from error
    return checked_token(raw.decode("ascii", "replace"), f"descriptor {descriptor}")
