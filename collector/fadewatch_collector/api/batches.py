"""Many reports in one body: each is checked alone, so one cannot block the others.

The body is cut into its reports once; each piece, still the text that came, is then
validated once and kept as it is.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from http import HTTPStatus
from typing import NoReturn

from pydantic import TypeAdapter, ValidationError

from fadewatch_collector.api.bodies import first_problem
from fadewatch_collector.api.problems import Refused
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.usecases.intake import ReceivedReport
from fadewatch_common.report import MAX_REPORTS, Report
from fadewatch_common.report_id import InvalidReportId, check_report_id

LONGEST_ID_SHOWN = 64
"""Longest id of a refused report that is given back [characters]. Own choice."""

_BLANKS = re.compile(r"[ \t\n\r]*")
_B = rb"[ \t\n\r]*"
_ALONE = re.compile(
    _B.join(
        (rb"", rb"\{", rb'"reports"', rb":", rb"\[", rb"(\{.*\})", rb"\]", rb"\}", rb"")
    ),
    re.DOTALL,
)
_REPORT = TypeAdapter(Report)


@dataclass(frozen=True, slots=True)
class BadReport:
    """A report that cannot be taken, and why."""

    report_id: str | None
    problem: str


def read_batch(body: bytes) -> list[ReceivedReport | BadReport]:
    """Return the reports of a body, good and bad, in their order.

    Raises
    ------
    InvalidRequest
        The body is not JSON, or holds no list of reports.
    Refused
        It holds more than 500.
    """
    alone = _only_report(body)
    if alone is not None:
        return [alone]
    cutter = _Cutter(body)
    try:
        return [_checked(piece) for piece in cutter.pieces()]
    except json.JSONDecodeError as error:
        raise InvalidRequest(f"the body is not JSON: {error}") from error
    except RecursionError as error:
        raise InvalidRequest("the body is nested too deeply") from error


def _only_report(body: bytes) -> ReceivedReport | None:
    """Return the report of a body that holds one good report and nothing else.

    Most bodies do, and then nothing has to be looked at twice: what stands between the
    brackets is one JSON value or it is not valid. None says nothing; the cutter tells.
    """
    found = _ALONE.fullmatch(body)
    # Where the contract knows no field, pydantic lets these through.
    if found is None or b"NaN" in body or b"Infinity" in body:
        return None
    try:
        text = found[1].decode()
        report = _REPORT.validate_json(text, strict=True)
        report_id = check_report_id(report.report_id)
    except (UnicodeDecodeError, ValidationError, InvalidReportId):
        return None
    return ReceivedReport(report_id, report.measured_at, text)


@dataclass(frozen=True, slots=True)
class _Piece:
    text: str
    value: object
    constant: str | None


def _checked(piece: _Piece) -> ReceivedReport | BadReport:
    if piece.constant is not None:
        return BadReport(_id_of(piece.value), f"{piece.constant} is no JSON number")
    try:
        report = _REPORT.validate_json(piece.text, strict=True)
        report_id = check_report_id(report.report_id)
    except ValidationError as error:
        return BadReport(_id_of(piece.value), first_problem(error))
    except InvalidReportId as error:
        return BadReport(_id_of(piece.value), f"report_id: {error}")
    return ReceivedReport(report_id, report.measured_at, piece.text)


def _id_of(value: object) -> str | None:
    sent = value.get("report_id") if isinstance(value, dict) else None
    if not isinstance(sent, str) or len(sent) > LONGEST_ID_SHOWN:
        return None
    # A lone surrogate is text to JSON and cannot be sent back as UTF-8.
    return sent if sent.isprintable() and sent.isascii() else None


class _Cutter:
    """Cuts ``{"reports": [...]}`` into the texts of its reports.

    The values met on the way serve only to find a report's end and its id, so numbers
    become floats: one of many thousand digits then costs nothing and breaks nothing.
    """

    def __init__(self, body: bytes) -> None:
        try:
            self._text = body.decode()
        except UnicodeDecodeError as error:
            raise InvalidRequest("the body is not UTF-8") from error
        self._at = 0
        self._constant: str | None = None
        self._decoder = json.JSONDecoder(
            parse_int=float, parse_constant=self._note_constant
        )

    def pieces(self) -> Iterator[_Piece]:
        """Yield the reports; the whole body has been looked at when it ends."""
        found = False
        for name in self._members():
            if name != "reports":
                self._value()
                continue
            if found:
                raise InvalidRequest("the body names reports twice")
            found = True
            if self._peek() != "[":
                raise InvalidRequest("reports is not a list")
            yield from self._items()
        if self._peek():
            self._fail("Extra data")
        if not found:
            raise InvalidRequest("the body has no list named reports")

    def _members(self) -> Iterator[str]:
        if self._peek() != "{":
            raise InvalidRequest("the body is not a JSON object")
        for _ in self._listed("}"):
            name = self._value()
            if not isinstance(name, str):
                self._fail("Expecting property name enclosed in double quotes")
            if self._peek() != ":":
                self._fail("Expecting ':' delimiter")
            self._at += 1
            yield name

    def _items(self) -> Iterator[_Piece]:
        for count, _ in enumerate(self._listed("]")):
            if count == MAX_REPORTS:
                raise Refused(
                    HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                    f"send at most {MAX_REPORTS} reports at once",
                )
            self._peek()
            start = self._at
            self._constant = None
            value = self._value()
            yield _Piece(self._text[start : self._at], value, self._constant)

    def _listed(self, closing: str) -> Iterator[None]:
        """Step through what stands between brackets and commas."""
        self._at += 1
        if self._peek() == closing:
            self._at += 1
            return
        while True:
            yield
            sign = self._peek()
            self._at += 1
            if sign == closing:
                return
            if sign != ",":
                self._at -= 1
                self._fail("Expecting ',' delimiter")

    def _peek(self) -> str:
        """Skip blanks and return the next character, or nothing at the end."""
        blanks = _BLANKS.match(self._text, self._at)
        self._at = blanks.end() if blanks else self._at
        return self._text[self._at : self._at + 1]

    def _value(self) -> object:
        self._peek()
        value, self._at = self._decoder.raw_decode(self._text, self._at)
        return value

    def _note_constant(self, constant: str) -> None:
        self._constant = constant

    def _fail(self, why: str) -> NoReturn:
        raise json.JSONDecodeError(why, self._text, self._at)
