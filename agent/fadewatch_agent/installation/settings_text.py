"""Write the settings file. Pure: settings in, TOML out."""

import json
from pathlib import PurePath

from fadewatch_agent.configuration import DEFAULT_STATE, QUEUE_LIMIT, Settings
from fadewatch_agent.periods import words_of

_HEAD = "# Written by 'fadewatch-agent install'. The token is in a file of its own.\n"


def settings_text(settings: Settings, ca: PurePath | None) -> str:
    """Write settings as TOML, without the token.

    Parameters
    ----------
    ca
        Where the certificates will be, or None for the system's.
    """
    values: dict[str, str | int | None] = {
        "collector": settings.collector,
        "every": words_of(settings.every_minutes),
        "ca": None if ca is None else str(ca),
        "proxy": settings.proxy,
        "queue_limit": None
        if settings.queue_limit == QUEUE_LIMIT
        else settings.queue_limit,
        "state": None if settings.state == DEFAULT_STATE else str(settings.state),
    }
    # A JSON string is a TOML string, and a number a number.
    lines = [
        f"{name} = {json.dumps(value, ensure_ascii=False)}\n"
        for name, value in values.items()
        if value is not None
    ]
    return _HEAD + "".join(lines)
