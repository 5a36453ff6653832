"""What a log line looks like, whatever is put into it."""

import json
import logging

import pytest

from fadewatch_collector.cli.logs import JsonLines, TextLines, start_logging
from fadewatch_collector.edge.current import REQUEST

# A line end of its own for each kind of reader; ESC moves a terminal's cursor, the last
# turns the direction of what follows.
HOSTILE = "pack\n2026-01-01 ERROR forged\r\x0b\x0c\x1b[2J\x85\u2028\u202e"


def record(message: str, *arguments: object) -> logging.LogRecord:
    return logging.LogRecord(
        "fadewatch.test", logging.WARNING, __file__, 1, message, arguments, None
    )


def failed() -> logging.LogRecord:
    found = record("it failed")
    with pytest.raises(ValueError, match="invalid literal") as caught:
        int(HOSTILE)
    found.exc_info = (caught.type, caught.value, caught.tb)
    return found


def test_a_json_line_has_its_fields_and_stays_one_line() -> None:
    line = JsonLines().format(record("serial %s", HOSTILE))

    assert line.isascii()
    assert line.isprintable()
    told = json.loads(line)
    assert set(told) == {"time", "level", "logger", "message"}
    assert told["message"] == f"serial {HOSTILE}"
    assert (told["level"], told["logger"]) == ("WARNING", "fadewatch.test")
    assert told["time"].endswith("Z")


def test_a_trace_is_a_field_of_its_line() -> None:
    line = JsonLines().format(failed())

    assert len(line.splitlines()) == 1
    assert "ValueError" in json.loads(line)["trace"]


def test_a_text_line_stays_one_line() -> None:
    line = TextLines().format(record("serial %s", HOSTILE))

    assert line.isprintable()
    assert line.endswith(r"[2J\u0085\u2028\u202e")


def test_no_line_of_a_text_trace_begins_like_a_log_line() -> None:
    first, *more = TextLines().format(failed()).splitlines()

    assert first.endswith("WARNING it failed")
    assert more
    assert all(line.startswith("    ") for line in more)


@pytest.mark.parametrize("form", [JsonLines(), TextLines()])
def test_lines_carry_the_request_they_belong_to(form: logging.Formatter) -> None:
    token = REQUEST.set("0123456789abcdef")
    try:
        assert "0123456789abcdef" in form.format(record("it is slow"))
        named = record("GET / 200")
        named.request_id = "fedcba9876543210"
        line = form.format(named)
    finally:
        REQUEST.reset(token)

    assert "fedcba9876543210" in line
    assert "0123456789abcdef" not in line
    assert "0123456789abcdef" not in form.format(record("later"))


@pytest.mark.parametrize("form", ["json", "text"])
def test_the_form_can_be_chosen(form: str, capsys: pytest.CaptureFixture[str]) -> None:
    root = logging.getLogger()
    before, level = root.handlers[:], root.level
    try:
        start_logging("INFO", "json" if form == "json" else "text")
        logging.getLogger("fadewatch.test").info("here")
    finally:
        root.handlers[:] = before
        root.setLevel(level)

    assert capsys.readouterr().err.startswith("{") == (form == "json")
