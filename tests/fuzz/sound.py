"""What must hold of every reading, whatever it was made of."""

import re
from datetime import UTC, datetime

from fadewatch_agent.reading import Moment
from fadewatch_agent.readout import readout
from fadewatch_collector.api.batches import read_batch
from fadewatch_collector.usecases.intake import ReceivedReport
from fadewatch_common.bounds import problems
from fadewatch_common.encoding import to_json
from fadewatch_common.report import Report

MOMENT = Moment(datetime(2026, 3, 14, 9, 26, 53, 589793, tzinfo=UTC), 7)
EFFECTIVE = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""Characters that do something to the text around them."""


def no_pause(seconds: float) -> None:
    """Do not wait."""
    assert seconds > 0


def assert_sound(report: Report) -> None:
    """Its bounds hold, a collector stores it, and its text is plain lines."""
    assert not list(problems(report))
    (taken,) = read_batch(b'{"reports":[' + to_json(report).encode() + b"]}")
    assert isinstance(taken, ReceivedReport), taken.problem
    text = readout(report)
    assert text.encode()
    assert not EFFECTIVE.search(text.replace("\n", "")), ascii(text)
