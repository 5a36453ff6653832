"""Every parser, fed with anything: a value, or the one error that it promises.

What is tried: any text and bytes, pieces of what the parser expects in any order,
numbers of thousands of digits, nesting without end.
"""

import io
import json
import time
from collections.abc import Callable
from ipaddress import ip_network
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fadewatch_agent.advice import moment_of
from fadewatch_agent.arguments import UsageError, parse
from fadewatch_agent.client import retry_after_seconds
from fadewatch_agent.configuration import checked_address, parse_settings, settings_from
from fadewatch_agent.enrolment import kept_enrolment
from fadewatch_agent.errors import InvalidConfiguration
from fadewatch_agent.options import COMMANDS
from fadewatch_agent.periods import minutes_of, seconds_of
from fadewatch_agent.readers.macos.programs import ProgramFailed, registry
from fadewatch_agent.readers.snapshot import parse_uevent
from fadewatch_agent.readers.windows.drives import text_at
from fadewatch_agent.readers.windows.pack import text as windows_text
from fadewatch_agent.secret import checked_token
from fadewatch_agent.spool import is_sound
from fadewatch_agent.their_clock import parsed_date, seconds_ahead
from fadewatch_collector.api.batches import read_batch
from fadewatch_collector.api.problems import Refused
from fadewatch_collector.edge.forwarded import Asked, asked_by
from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.outbound.addresses import check_webhook
from fadewatch_collector.rules import paging
from fadewatch_collector.rules.money import minor_units
from fadewatch_collector.rules.pack_types import type_of_key
from fadewatch_collector.rules.places import read_places
from fadewatch_collector.rules.search_terms import terms_of, words_sought
from fadewatch_collector.rules.stock import NOTHING_ENTERED, stock_from_text
from fadewatch_collector.rules.stock_csv import read_stock
from fadewatch_collector.usecases.history_csv import UnreadableHistory, read_history_csv
from fadewatch_collector.web.upload import unpacked
from fadewatch_common.decoding import UnreadableRecord, from_plain
from fadewatch_common.report import Report
from fadewatch_common.report_id import InvalidReportId, check_report_id
from tests.fakes.clock import StandingClock
from tests.hostile import HOSTILE

SLOWEST_S = 5.0
"""Longest time for one input, on a machine that is busy [s]."""


class Parser(NamedTuple):
    """A parser, the errors that it promises, and words that it looks for."""

    parse: Callable[[str], object]
    errors: tuple[type[Exception], ...] = ()
    words: tuple[str, ...] = ()


def of_bytes(parse: Callable[[bytes], object]) -> Callable[[str], object]:
    """Feed bytes; half characters stand for those that are no UTF-8."""
    return lambda text: parse(text.encode("utf-8", "surrogatepass"))


def of_a_file(parse: Callable[[Path], object], name: str) -> Callable[[str], object]:
    def with_file(text: str) -> object:
        (FOLDER[0] / name).write_bytes(text.encode("utf-8", "surrogatepass"))
        return parse(FOLDER[0] / name)

    return with_file


FOLDER: list[Path] = []
TRUSTED = (ip_network("127.0.0.0/8"), ip_network("::1/128"))
JSON_WORDS = (
    "{",
    "}",
    "[",
    "]",
    ":",
    ",",
    '"',
    "null",
    "NaN",
    "1e999",
    "-0",
    "\\ud800",
)
SETTINGS_WORDS = (
    "collector",
    "queue_limit",
    "every",
    " = ",
    '"',
    "[",
    "]",
    "\n",
    "1979-",
)
DATES = ("Sat, ", "14 Mar ", "9999 ", "23:59:59 ", "GMT", "-2359", "+9999999", "(", "0")
CSV_WORDS = (",", '"', "\r\n", "\n", "'=", "\ufeff", ";")
CURSORS = ("bC4x", "YS4xLjIuMw", "=", "-", "_", "l.1")
ADDRESS = ("https://", "http://", "[", "]", "::1", "@", ":99999", "#", "?", "127.0.0.1")

PARSERS = {
    "agent settings": Parser(
        lambda text: settings_from(parse_settings(text, "agent.toml")),
        (InvalidConfiguration,),
        SETTINGS_WORDS,
    ),
    "collector's address": Parser(checked_address, (InvalidConfiguration,), ADDRESS),
    "period": Parser(minutes_of, (InvalidConfiguration,), ("6", "h", "15", "m")),
    "wait": Parser(seconds_of, (InvalidConfiguration,), ("90", "s", "2", "m")),
    "token": Parser(
        lambda text: checked_token(text, "a file"), (InvalidConfiguration,), ("fwt_",)
    ),
    "command line": Parser(
        lambda text: parse(text.split("\0"), COMMANDS),
        (UsageError,),
        ("report", "\0", "--state", "=", "--json", "read", "-", "--every"),
    ),
    "kept key": Parser(
        of_a_file(lambda file: kept_enrolment(file.parent), "enrolment.json"),
        (),
        (*JSON_WORDS, '"key"', '"laptop_id"', '"collector"'),
    ),
    "Retry-After": Parser(
        lambda text: retry_after_seconds(text, StandingClock()()), (), DATES
    ),
    "Date": Parser(lambda text: (parsed_date(text), seconds_ahead(text)), (), DATES),
    "kept moment": Parser(moment_of, (), ("2026-03-14", "T", "09:26", "+00:00", "Z")),
    "queued body": Parser(is_sound, (), JSON_WORDS),
    "uevent": Parser(
        of_bytes(parse_uevent), (), ("POWER_SUPPLY_", "=", "\n", "STATUS")
    ),
    "text of Windows": Parser(
        of_bytes(lambda raw: (windows_text(raw), text_at(raw, 3))), (), ("\0", "a\0")
    ),
    "property list": Parser(
        of_bytes(lambda raw: registry(lambda _: raw, "X")),
        (ProgramFailed,),
        (
            "<plist>",
            "<array>",
            "<dict>",
            "<key>k</key>",
            "<integer>0x</integer>",
            "<real>1e999</real>",
            "<date>2026-99-01T00:00:00Z</date>",
            "<data>=</data>",
            "</dict></array></plist>",
            "&x;",
            "<!DOCTYPE x [<!ENTITY x 'y'>]>",
        ),
    ),
    "reports": Parser(
        of_bytes(read_batch),
        (InvalidRequest, Refused),
        (*JSON_WORDS, '{"reports":[', '{"schema":1,"report_id":', "]}", '"packs":['),
    ),
    "record": Parser(
        lambda text: from_plain(Report, _plain(text)),
        (UnreadableRecord,),
        (*JSON_WORDS, '"packs"', '"laptop"', '"measured_at"'),
    ),
    "report id": Parser(check_report_id, (InvalidReportId,), ("019", "-7", "-", "f")),
    "places": Parser(
        lambda text: read_places(io.StringIO(text, newline="")),
        (InvalidRequest,),
        (*CSV_WORDS, "laptop_serial", "site"),
    ),
    "stock file": Parser(
        lambda text: read_stock(io.StringIO(text, newline="")),
        (InvalidRequest,),
        (*CSV_WORDS, "pack_type", "on_hand"),
    ),
    "histories": Parser(
        of_a_file(read_history_csv, "histories.csv"),
        (UnreadableHistory,),
        (
            *CSV_WORDS,
            "pack_id,measured_at,design_capacity,full_charge_capacity,cycle_count\n",
            "a,2026-01-31,",
            "2026-01-31T23:59:59.999999999+23:59",
            "1e308",
            "nan",
        ),
    ),
    "stock figure": Parser(
        lambda text: stock_from_text(
            NOTHING_ENTERED, {"on_hand": text, "expected_on": text[:10]}, "EUR"
        ),
        (InvalidRequest,),
        ("0", "12", "-", "2026-01-31"),
    ),
    "price": Parser(
        lambda text: minor_units(text, "EUR"), (InvalidRequest,), ("9", ".", ",", "90")
    ),
    "key of a pack type": Parser(
        type_of_key, (InvalidRequest,), ("|", "mWh", "%7C", "57000", "-1")
    ),
    "cursor of alerts": Parser(paging.alert_key, (InvalidRequest,), CURSORS),
    "cursor of laptops": Parser(paging.laptop_key, (InvalidRequest,), CURSORS),
    "cursor of ranks": Parser(paging.ranked_key, (InvalidRequest,), CURSORS),
    "cursor of visits": Parser(paging.due_key, (InvalidRequest,), CURSORS),
    "cursor of numbers": Parser(
        lambda text: paging.number_key("s", text), (InvalidRequest,), CURSORS
    ),
    "search": Parser(
        lambda text: (terms_of(text), words_sought(text)), (), ("BM-", "%")
    ),
    "webhook": Parser(check_webhook, (InvalidRequest,), ADDRESS),
    "file in a form": Parser(unpacked, (InvalidRequest,), ("eJw", "=", "AAAA", "-_")),
    "forwarded": Parser(
        lambda text: asked_by(
            Asked("127.0.0.1", "http", "x"),
            {f"x-forwarded-{name}": [text] for name in ("for", "proto", "host")},
            TRUSTED,
        ),
        (),
        ("127.0.0.1", ",", "[::1]", ":80", "https", "fe80::1%eth0", "::ffff:1.2.3.4"),
    ),
}
"""What reads what somebody else wrote, in the agent and in the collector."""


def _plain(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return text


def inputs(words: tuple[str, ...]) -> st.SearchStrategy[str]:
    """Mix what is looked for with anything."""
    odd = st.sampled_from(
        ["9" * 5_000, "[" * 3_000, '{"a":' * 3_000, "\0", "\ud800", *HOSTILE.values()]
    )
    piece = (
        st.sampled_from(words or ("x",)) | odd | st.text(st.characters(), max_size=20)
    )
    return st.lists(piece, max_size=8).map("".join)


@pytest.fixture(autouse=True)
def folder(tmp_path: Path) -> None:
    FOLDER[:] = [tmp_path]


@pytest.mark.parametrize("name", PARSERS)
def test_a_parser_gives_a_value_or_the_error_that_it_promises(name: str) -> None:
    parser = PARSERS[name]

    @given(inputs(parser.words))
    @settings(max_examples=60)
    def tried(text: str) -> None:
        began = time.process_time()
        try:
            parser.parse(text)
        except parser.errors as error:
            words = str(error)
            assert words
        assert time.process_time() - began < SLOWEST_S

    tried()
