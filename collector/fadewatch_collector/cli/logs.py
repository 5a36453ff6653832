"""Log lines: plain on a terminal, one JSON object a line elsewhere."""

import json
import logging
import sys
from datetime import UTC, datetime


class JsonLines(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """Write one record."""
        line = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)


def start_logging(level: str) -> None:
    """Send log lines to standard error, so that standard output stays the command's."""
    handler = logging.StreamHandler(sys.stderr)
    if not sys.stderr.isatty():
        handler.setFormatter(JsonLines())
    else:
        handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    logging.basicConfig(level=level, handlers=[handler], force=True)
    # The scheduler tells of every run; the rounds tell of theirs themselves.
    logging.getLogger("apscheduler").setLevel(logging.WARNING)
