"""Alerts reach people: by mail and webhook, at once or in a digest, never at night."""

import logging
import re
from collections.abc import AsyncIterator, Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from fadewatch_collector.rules.alert_terms import ALERT_KINDS
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.rules.notify import Quiet
from fadewatch_collector.store.alerts import Subject
from fadewatch_collector.usecases.alerts import apply_findings
from fadewatch_collector.usecases.notifications import make_digests
from fadewatch_collector.usecases.services import Services
from tests.certificates import Certificates, make_certificates
from tests.fakes.clock import StandingClock
from tests.integration.notified import DESK, Desk, finding, open_desk
from tests.integration.postgres import DATABASES

ON = DATABASES

README = (Path(__file__).parents[2] / "README.md").read_text()
NIGHT = Quiet(20 * 60, 6 * 60 + 30)
HOUR = timedelta(hours=1)


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return make_certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture
async def desk(
    services: Services, clock: StandingClock, certificates: Certificates
) -> AsyncIterator[Desk]:
    async with open_desk(services, clock, certificates) as opened:
        yield opened


async def test_an_alert_is_read_back_from_the_mail_server(desk: Desk) -> None:
    await desk.route()
    tern = await desk.laptop()
    await desk.find({tern: [finding(wear_percent=43.5)]})

    await desk.sender.send_due()

    (got,) = desk.mail.accepted
    assert got.was_secret
    assert got.to == [DESK]
    assert got.mail["Subject"] == "Act: Replace the pack, tern-014, North"
    assert "Wear is 43.5 %" in got.text
    assert "wear: 43.5 %" in got.text
    assert "Replace the pack." in got.text
    assert f"https://packs.example.org/laptops/{tern.laptop_id}" in got.text
    (row,) = await desk.rows()
    assert got.mail["Message-ID"] == f"<{row['message_id']}@example.net>"
    assert row["sent_at"] == desk.clock()
    assert (row["attempts"], row["given_up_at"], row["last_problem"]) == (1, None, None)


async def test_a_sent_message_is_not_sent_again(desk: Desk) -> None:
    await desk.route()
    await desk.find({await desk.laptop(): [finding()]})

    await desk.sender.send_due()
    desk.clock.move(HOUR)
    await desk.sender.send_due()

    assert len(desk.mail.accepted) == 1


async def test_stop_use_comes_with_the_cautions(desk: Desk) -> None:
    await desk.route()
    found = finding("swelling-reported", "stop-use", "The lid no longer closes.")
    await desk.find({await desk.laptop(): [found]})

    await desk.sender.send_due()

    (got,) = desk.mail.accepted
    assert got.mail["Importance"] == "high"
    assert all(caution in got.text for caution in STOP_USE_CAUTIONS)


async def test_an_alert_and_its_message_are_written_together_or_not_at_all(
    desk: Desk,
) -> None:
    class Crash(Exception):
        pass

    async def crash_after_finding(subject: Subject) -> None:
        async with desk.services.store.writing() as connection:
            found = {subject: [finding()]}
            await apply_findings(connection, found, ALERT_KINDS, desk.clock())
            raise Crash

    await desk.route()
    with pytest.raises(Crash):
        await crash_after_finding(await desk.laptop())

    assert await desk.rows() == []


async def test_an_alert_that_stands_is_told_once_and_again_when_it_grows_urgent(
    desk: Desk,
) -> None:
    await desk.route()
    tern = await desk.laptop()
    drop = finding("sudden-drop", "act")
    for found in (drop, drop, finding("sudden-drop", "stop-use"), drop):
        await desk.find({tern: [found]})
        await desk.sender.send_due()
        desk.clock.move(HOUR)

    assert [mail["Subject"].split(":")[0] for mail in desk.mail.mails] == [
        "Act",
        "Stop use",
    ]
    assert len(set(desk.mail.message_ids)) == 2


async def test_an_alert_that_opens_again_is_told_again(desk: Desk) -> None:
    await desk.route()
    tern = await desk.laptop()
    for found in ([finding("silent", "act")], [], [finding("silent", "act")]):
        await desk.find({tern: found})
        await desk.sender.send_due()
        desk.clock.move(HOUR)

    assert len(set(desk.mail.message_ids)) == 2


async def test_each_route_gets_its_urgencies_and_sites(desk: Desk) -> None:
    await desk.route(target="all@example.org")
    await desk.route(target="north@example.org", sites=["North"])
    await desk.route(target="urgent@example.org", urgencies=["stop-use"])
    north, south = await desk.laptop("North"), await desk.laptop("South")
    await desk.find({north: [finding()], south: [finding()]})

    await desk.sender.send_due()

    got = sorted((one.to[0], one.mail["Subject"][-5:]) for one in desk.mail.accepted)
    assert got == [
        ("all@example.org", "North"),
        ("all@example.org", "South"),
        ("north@example.org", "North"),
    ]


async def test_plan_and_note_wait_for_one_digest(desk: Desk) -> None:
    await desk.route()
    north, south = await desk.laptop("North"), await desk.laptop("South")
    await desk.find(
        {
            south: [finding("silent", "note", "No report.")],
            north: [finding("wear-plan", "plan", "Wear is 31 %.")],
        }
    )
    await desk.sender.send_due()
    assert desk.mail.accepted == []

    assert await make_digests(desk.services) == 1
    await desk.sender.send_due()

    (got,) = desk.mail.accepted
    assert got.mail["Subject"] == "Fadewatch: 2 to plan or note"
    places = [
        got.text.index(part)
        for part in ("PLAN", "North", "Wear is 31 %.", "NOTE", "South", "No report.")
    ]
    assert places == sorted(places)


async def test_nothing_new_gives_no_digest(desk: Desk) -> None:
    await desk.route()
    tern = await desk.laptop()
    await desk.find({tern: [finding("wear-plan", "plan")]})
    assert await make_digests(desk.services) == 1
    desk.clock.move(24 * HOUR)
    await desk.find({tern: [finding("wear-plan", "plan")]})

    assert await make_digests(desk.services) == 0
    await desk.sender.send_due()
    assert len(desk.mail.accepted) == 1


async def test_a_digest_leaves_out_what_has_ended_or_was_told_at_once(
    desk: Desk,
) -> None:
    await desk.route()
    gone, risen, still = [await desk.laptop(hostname=f"h{n}") for n in range(3)]
    silent = finding("silent", "note")
    await desk.find({gone: [silent], risen: [silent], still: [silent]})
    desk.clock.move(HOUR)
    await desk.find({gone: [], risen: [finding("silent", "act")], still: [silent]})
    await desk.sender.send_due()
    desk.mail.accepted.clear()

    await make_digests(desk.services)
    await desk.sender.send_due()

    (got,) = desk.mail.accepted
    assert "h2" in got.text
    assert "h0" not in got.text
    assert "h1" not in got.text


async def test_quiet_hours_hold_back_all_but_stop_use_until_they_end(
    desk: Desk,
) -> None:
    await desk.route(quiet=NIGHT)
    desk.clock.now = datetime(2026, 3, 2, 23, 15, tzinfo=UTC)
    one, two = await desk.laptop(), await desk.laptop()
    await desk.find({one: [finding()], two: [finding("sudden-drop", "stop-use")]})

    await desk.sender.send_due()
    assert [m["Subject"].split(":")[0] for m in desk.mail.mails] == ["Stop use"]

    desk.clock.now = datetime(2026, 3, 3, 6, 29, 59, tzinfo=UTC)
    await desk.sender.send_due()
    assert len(desk.mail.accepted) == 1

    desk.clock.now = datetime(2026, 3, 3, 6, 30, tzinfo=UTC)
    await desk.sender.send_due()
    assert [m["Subject"].split(":")[0] for m in desk.mail.mails][1:] == ["Act"]


async def test_a_try_that_falls_into_quiet_hours_waits_for_their_end(
    desk: Desk,
) -> None:
    await desk.route(quiet=NIGHT)
    desk.clock.now = datetime(2026, 3, 2, 19, 59, tzinfo=UTC)
    await desk.find({await desk.laptop(): [finding()]})
    desk.mail.data_answer = "451 not now"
    await desk.sender.send_due()
    desk.mail.data_answer = "250 fine"

    desk.clock.now = datetime(2026, 3, 2, 20, 30, tzinfo=UTC)
    await desk.sender.send_due()

    assert desk.mail.accepted == []
    (row,) = await desk.rows()
    assert row["not_before"] == datetime(2026, 3, 3, 6, 30, tzinfo=UTC)
    assert row["attempts"] == 1


async def test_what_ended_in_quiet_hours_is_not_told_in_the_morning(
    desk: Desk,
) -> None:
    await desk.route(quiet=NIGHT)
    desk.clock.now = datetime(2026, 3, 2, 23, 0, tzinfo=UTC)
    tern = await desk.laptop()
    await desk.find({tern: [finding("silent", "act")]})
    await desk.find({tern: []})

    desk.clock.now = datetime(2026, 3, 3, 8, 0, tzinfo=UTC)
    await desk.sender.send_due()

    assert desk.mail.accepted == []
    (row,) = await desk.rows()
    assert row["given_up_at"] == desk.clock()
    assert row["last_problem"] == "the alert ended, or a newer message tells of it"


async def test_a_pack_that_names_itself_after_a_header_forges_none(desk: Desk) -> None:
    await desk.route()
    hostile = "tern\r\nBcc: all@example.org\r\nX: \u202e"
    await desk.find({await desk.laptop(hostname=hostile): [finding(reason=hostile)]})

    await desk.sender.send_due()

    (got,) = desk.mail.accepted
    assert got.to == [DESK]
    assert "Bcc" not in got.mail
    assert got.mail["Subject"] == (
        "Act: Replace the pack, tern Bcc: all@example.org X:, North"
    )


def snippet() -> Callable[[str, str, str, bytes], bool]:
    """Return the receiver's check exactly as README prints it."""
    section = README.split("### Webhooks", 1)[1]
    found = re.search(r"```python\n(.*?)```", section, re.DOTALL)
    assert found is not None
    names: dict[str, Any] = {}
    exec(found[1], names)  # noqa: S102  the very lines that are documented
    check: Callable[[str, str, str, bytes], bool] = names["is_genuine"]
    return check


async def test_the_lines_in_the_readme_verify_a_webhook(desk: Desk) -> None:
    desk.clock.now = datetime.now(UTC)
    made = await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding("sudden-drop", "stop-use")]})

    await desk.sender.send_due()

    (got,) = desk.hook.posted
    stamp = got.headers["Fadewatch-Timestamp"]
    signature = got.headers["Fadewatch-Signature"]
    assert got.headers["Content-Type"] == "application/json"
    assert made.secret is not None
    is_genuine = snippet()
    assert is_genuine(made.secret, stamp, signature, got.body)
    assert not is_genuine(made.secret + "x", stamp, signature, got.body)
    assert not is_genuine(made.secret, str(int(stamp) - 1), signature, got.body)
    assert not is_genuine(made.secret, stamp, signature, got.body + b" ")
    assert got.plain["what"] == "stop-use"
    assert got.plain["alerts"][0]["cautions"] == list(STOP_USE_CAUTIONS)
    assert made.secret.encode() not in got.body


async def test_an_old_webhook_cannot_be_played_again(desk: Desk) -> None:
    desk.clock.now = datetime.now(UTC) - timedelta(minutes=6)
    made = await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding()]})

    await desk.sender.send_due()

    (got,) = desk.hook.posted
    assert made.secret is not None
    headers = got.headers
    assert not snippet()(
        made.secret,
        headers["Fadewatch-Timestamp"],
        headers["Fadewatch-Signature"],
        got.body,
    )


async def test_a_webhook_gets_the_digest_too(desk: Desk) -> None:
    await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding("wear-plan", "plan")]})
    await make_digests(desk.services)

    await desk.sender.send_due()

    (got,) = desk.hook.posted
    assert got.plain["what"] == "digest"
    assert [alert["kind"] for alert in got.plain["alerts"]] == ["wear-plan"]


async def test_the_log_tells_no_address_and_no_secret(
    desk: Desk, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    await desk.route()
    made = await desk.route("webhook")
    desk.mail.recipient_answer = f"550 no such person <{DESK}>"
    desk.hook.status = 503
    await desk.find({await desk.laptop(): [finding()]})
    await desk.sender.send_due()
    desk.hook.status = 204
    desk.clock.move(HOUR)
    await desk.sender.send_due()

    theirs = {"mail.log", "aiohttp.access"}
    log = "\n".join(r.getMessage() for r in caplog.records if r.name not in theirs)
    assert "was sent" in log
    assert "was refused: the mail server answered 550" in log
    assert "is tried again later: the receiver answered 503" in log
    for hidden in (DESK, "example.org", desk.hook.url, "127.0.0.1", made.secret):
        assert hidden is not None
        assert hidden not in log


# The way the store is kept from writing is SQLite's; what follows is Python alone.
@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
async def test_what_was_accepted_is_not_sent_again_while_the_store_cannot_be_told(
    desk: Desk, caplog: pytest.LogCaptureFixture
) -> None:
    await desk.route()
    await desk.find({await desk.laptop(): [finding()]})
    await _run(
        desk.services,
        "CREATE TRIGGER in_the_way BEFORE UPDATE ON outbox "
        "BEGIN INSERT INTO missing VALUES (1); END",
    )
    await desk.sender.send_due()
    assert "the outbox cannot be used; trying again:" in caplog.text
    assert "no such table" in caplog.text

    await _run(desk.services, "DROP TRIGGER in_the_way")
    await desk.sender.send_due()

    assert len(desk.mail.accepted) == 1
    (row,) = await desk.rows()
    assert row["sent_at"] == desk.clock()


async def _run(services: Services, statement: str) -> None:
    async with services.store.writing() as connection:
        await connection.execute(text(statement))
