"""Fields that several bodies have, and what every body of an operator keeps to."""

from typing import Annotated

from pydantic import BeforeValidator, ConfigDict, StringConstraints

from fadewatch_collector.api.paths import LARGEST_ID
from fadewatch_common.bounds import Between, Text

NOTHING_ELSE = ConfigDict(extra="forbid")
"""A field that nobody knows is a mistake, and is told."""

BODY_BYTES = 64 * 1024
"""Largest body of an operator's request, CSV left out [bytes]. Own choice."""

WRITTEN = (
    r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*[^\s\x00-\x1f\x7f-\x9f]"
    r"[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$"
)
"""More than blanks, and nothing that cannot be shown; lines may break."""

LINE = r"^[^\x00-\x1f\x7f-\x9f]*[^\s\x00-\x1f\x7f-\x9f][^\x00-\x1f\x7f-\x9f]*$"
"""One line of more than blanks."""


def _whole(value: object) -> object:
    return int(value) if isinstance(value, float) and value.is_integer() else value


WHOLE = BeforeValidator(_whole)
"""Stands after the bounds of a whole number: in JSON 5.0 is one too."""

Version = Annotated[int, Between(1, 2**31 - 1), WHOLE]
"""The version that was read; when it is not the newest, nothing is done (409)."""

Number = Annotated[int, Between(1, LARGEST_ID)]
Label = Annotated[str, StringConstraints(max_length=100, pattern=LINE)]
Site = Annotated[str, StringConstraints(max_length=200, pattern=LINE)]
OperatorName = Annotated[str, Text(64, min_length=1)]
