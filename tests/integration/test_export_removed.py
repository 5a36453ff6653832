"""`export removed` writes the register to a file."""

from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from fadewatch_collector.cli.export import export_group
from fadewatch_collector.usecases.removed_csv import (
    REMOVED_CSV_COLUMNS,
    stream_removed_csv,
)
from fadewatch_collector.usecases.services import Services
from fadewatch_collector.usecases.swaps import confirm_swap
from tests.fakes.clock import StandingClock
from tests.fleet import DAY, live, new_laptop, technician
from tests.integration.postgres import DATABASES
from tests.reports import PACK, make_report

ON = DATABASES

HEADER = ",".join(REMOVED_CSV_COLUMNS).encode() + b"\r\n"


def test_an_empty_register_has_its_headings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FADEWATCH_DATA_FOLDER", str(tmp_path / "data"))
    monkeypatch.delenv("FADEWATCH_DATABASE_URL", raising=False)
    out = tmp_path / "removed.csv"

    result = CliRunner().invoke(
        export_group, ["removed", "--out", str(out), "--byte-order-mark"]
    )

    assert (result.exit_code, result.output) == (0, "")
    assert out.read_bytes() == b"\xef\xbb\xbf" + HEADER


@pytest.mark.parametrize(
    ("swollen", "cell"), [(True, b'"yes"'), (False, b'"no"'), (None, b"")]
)
async def test_whether_a_pack_is_swollen_is_yes_no_or_not_said(
    services: Services, clock: StandingClock, swollen: bool | None, cell: bytes
) -> None:
    laptop = await new_laptop(services)
    for serial in ("00417", "00418"):
        clock.move(DAY)
        pack = replace(PACK, serial=serial)
        await live(services, laptop, make_report(clock(), (pack,)))
    pat = await technician(services)
    await confirm_swap(services, 1, pat, swollen=swollen)

    pieces = [piece async for piece in stream_removed_csv(services)]

    assert pieces[0] == HEADER
    assert pieces[1].startswith(b'"removed",' + cell + b",2026-")
