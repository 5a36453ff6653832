"""Log lines: for people on a terminal, one JSON object a line elsewhere."""

import json
import logging
import re
import sys
from datetime import UTC, datetime
from typing import Literal

from fadewatch_collector.edge.current import REQUEST

LogForm = Literal["json", "text"]

_UNSEEN = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")
"""Control characters, line ends of Unicode, and marks that turn text around."""


class JsonLines(logging.Formatter):
    """One JSON object a line, in ASCII: no text can end a line or hide in it."""

    def format(self, record: logging.LogRecord) -> str:
        """Write one record."""
        line = {
            "time": _time(record),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        request = _request(record)
        if request:
            line["request_id"] = request
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line)


class TextLines(logging.Formatter):
    """A line for people; what a record tells cannot begin another one."""

    def format(self, record: logging.LogRecord) -> str:
        """Write one record; the lines of a trace are indented below it."""
        request = _request(record)
        end = f"  [{_plain(request)}]" if request else ""
        lines = [
            f"{_time(record)} {record.levelname} {_plain(record.getMessage())}{end}"
        ]
        if record.exc_info:
            trace = self.formatException(record.exc_info)
            lines += [f"    {_plain(line)}" for line in trace.split("\n")]
        return "\n".join(lines)


class NoRequests(logging.Filter):
    """Tells of what is no HTTP without its words and trace: anyone can send it.

    The server's library logs it as an error with what was sent, where a token may be.
    """

    def filter(self, record: logging.LogRecord) -> bool:
        """Change the record; say whether it is still worth a line."""
        error = record.exc_info[1] if record.exc_info else None
        if type(error).__module__ != "aiohttp.http_exceptions":
            return True
        record.exc_info = None
        record.levelno, record.levelname = logging.INFO, "INFO"
        return logging.getLogger(record.name).isEnabledFor(logging.INFO)


def start_logging(level: str, form: LogForm | None = None) -> None:
    """Send log lines to standard error, so that standard output stays the command's.

    Parameters
    ----------
    form
        None: text on a terminal, JSON elsewhere.
    """
    if form is None:
        form = "text" if sys.stderr.isatty() else "json"
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if form == "json" else TextLines())
    # At DEBUG database drivers write every statement with its values: digests, hashes,
    # the secret of the cookies. Only our own packages may be that talkative.
    chosen = logging.getLevelNamesMapping()[level]
    logging.basicConfig(level=max(chosen, logging.INFO), handlers=[handler], force=True)
    for name in ("fadewatch_collector", "fadewatch_common"):
        logging.getLogger(name).setLevel(chosen)
    logging.getLogger("aiohttp.server").addFilter(NoRequests())
    # The scheduler tells of every run; the rounds tell of theirs themselves.
    logging.getLogger("apscheduler").setLevel(logging.WARNING)


def _time(record: logging.LogRecord) -> str:
    moment = datetime.fromtimestamp(record.created, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _request(record: logging.LogRecord) -> str:
    # The access line is written outside the request's own context and names it itself.
    return str(getattr(record, "request_id", "")) or REQUEST.get()


def _plain(text: str) -> str:
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
