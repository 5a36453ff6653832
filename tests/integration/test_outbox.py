"""Messages that do not get through at once: tried again, refused, given up."""

import asyncio
import ssl
from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import select

from fadewatch_collector.errors import InvalidRequest, NotFound
from fadewatch_collector.outbound.channel import Destination
from fadewatch_collector.outbound.channels import open_channels
from fadewatch_collector.outbound.mail import Mail, MailServer, Security
from fadewatch_collector.outbound.problems import Refused, TryLater
from fadewatch_collector.rules.notify import LEAST_TRIES, Channel, Quiet
from fadewatch_collector.store.outbox import LEASE, claim
from fadewatch_collector.store.tables import audit
from fadewatch_collector.usecases.notification_routes import (
    end_route,
    list_routes,
    make_route,
    try_route,
)
from fadewatch_collector.usecases.notifications import make_digests
from fadewatch_collector.usecases.services import Services
from tests.certificates import Certificates, make_certificates
from tests.fakes.clock import StandingClock
from tests.fakes.mail_server import Accepted, mail_server
from tests.fakes.webhook_receiver import webhook_receiver
from tests.integration.notified import DESK, PAGES, Desk, finding, open_desk
from tests.integration.postgres import DATABASES
from tests.unit.collector.outbound.messages import ALERT, WRITTEN, message

ON = DATABASES
SECOND = timedelta(seconds=1)
MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)
RIGHT = "pine needles"
"""What the mail server of these tests lets in."""


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return make_certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture
async def desk(
    services: Services, clock: StandingClock, certificates: Certificates
) -> AsyncIterator[Desk]:
    async with open_desk(services, clock, certificates) as opened:
        yield opened


async def test_a_busy_receiver_is_asked_again_after_longer_and_longer_waits(
    desk: Desk,
) -> None:
    await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding()]})
    desk.hook.status = 503
    waits = []
    for _ in range(5):
        await desk.sender.send_due()
        (row,) = await desk.rows()
        waits.append((row["not_before"] - desk.clock()).total_seconds())
        desk.clock.now = row["not_before"] + MINUTE
    desk.hook.status = 200
    await desk.sender.send_due()

    # Half of 30 s, doubled each time: the draw is always 0.5 here.
    assert waits == [15, 30, 60, 120, 240]
    assert len(desk.hook.posted) == 6
    assert len({got.body for got in desk.hook.posted}) == 1
    (row,) = await desk.rows()
    assert row["sent_at"] == desk.clock()
    assert row["attempts"] == 6


async def test_no_try_is_made_before_its_time(desk: Desk) -> None:
    await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding()]})
    desk.hook.status = 500
    await desk.sender.send_due()
    desk.clock.move(14 * SECOND)

    await desk.sender.send_due()

    assert len(desk.hook.posted) == 1


async def test_retry_after_is_obeyed_for_all_that_waits_for_the_receiver(
    desk: Desk,
) -> None:
    await desk.route("webhook")
    one, two = await desk.laptop(), await desk.laptop()
    await desk.find({one: [finding()], two: [finding()]})
    desk.hook.status, desk.hook.headers = 429, {"Retry-After": "600"}
    await desk.sender.send_due()
    desk.hook.status, desk.hook.headers = 200, {}

    desk.clock.move(599 * SECOND)
    await desk.sender.send_due()
    assert len(desk.hook.posted) == 1

    desk.clock.move(20 * SECOND)
    await desk.sender.send_due()
    assert len(desk.hook.posted) == 3


async def test_two_collectors_share_the_work_and_send_nothing_twice(
    desk: Desk, database: str
) -> None:
    if database == "sqlite":
        pytest.skip("a SQLite store has one collector")
    await desk.route()
    await desk.find({await desk.laptop(): [finding()] for _ in range(20)})

    await asyncio.gather(desk.sender.send_due(), desk.another_sender().send_due())

    assert len(desk.mail.accepted) == len(set(desk.mail.message_ids)) == 20


async def test_what_a_dead_collector_had_claimed_is_sent_in_the_end(
    desk: Desk,
) -> None:
    made = await desk.route()
    await desk.find({await desk.laptop(): [finding()]})
    assert await claim(desk.services.store, made.id, desk.clock()) is not None

    desk.clock.move(LEASE)
    await desk.another_sender().send_due()

    assert len(desk.mail.accepted) == 1


async def test_digests_made_twice_at_once_tell_each_alert_once(desk: Desk) -> None:
    await desk.route()
    await desk.find({await desk.laptop(): [finding("silent", "note")]})

    made = await asyncio.gather(
        make_digests(desk.services), make_digests(desk.services)
    )

    assert sorted(made) == [0, 1]


async def test_a_refusal_ends_it_at_once_and_the_reason_is_kept(desk: Desk) -> None:
    await desk.route("webhook")
    one, two = await desk.laptop(), await desk.laptop()
    await desk.find({one: [finding()], two: [finding()]})
    desk.hook.status = 410

    await desk.sender.send_due()
    desk.clock.move(DAY)
    await desk.sender.send_due()

    assert len(desk.hook.posted) == 2
    for row in await desk.rows():
        assert row["given_up_at"] is not None
        assert row["last_problem"] == "the receiver answered 410"
        assert row["sent_at"] is None


async def test_a_redirect_is_not_followed(desk: Desk) -> None:
    await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding()]})
    desk.hook.status = 307
    desk.hook.headers = {"Location": desk.hook.url.replace("/told", "/other")}

    await desk.sender.send_due()

    assert [got.path for got in desk.hook.posted] == ["/told"]
    (row,) = await desk.rows()
    assert row["last_problem"] == "the receiver answered 307"


async def test_a_message_that_nobody_takes_is_given_up_after_three_days(
    desk: Desk,
) -> None:
    await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding()]})
    desk.hook.status = 500
    start = desk.clock()
    for _ in range(LEAST_TRIES):
        await desk.sender.send_due()
        desk.clock.move(timedelta(hours=1))
    desk.clock.now = start + 3 * DAY - timedelta(hours=3)
    (row,) = await desk.rows()
    while not row["given_up_at"]:
        await desk.sender.send_due()
        (row,) = await desk.rows()
        desk.clock.now = max(row["not_before"], desk.clock() + MINUTE)

    age = row["given_up_at"] - start
    assert 3 * DAY - timedelta(hours=1) <= age <= 3 * DAY
    assert row["attempts"] == len(desk.hook.posted) > LEAST_TRIES
    assert row["last_problem"] == "the receiver answered 500"


async def test_a_message_from_before_a_long_pause_gets_its_tries(desk: Desk) -> None:
    await desk.route("webhook")
    await desk.find({await desk.laptop(): [finding()]})
    desk.clock.move(9 * DAY)
    desk.hook.status = 500
    for _ in range(LEAST_TRIES - 1):
        await desk.sender.send_due()
        desk.clock.move(timedelta(hours=1))
    desk.hook.status = 200

    await desk.sender.send_due()

    (row,) = await desk.rows()
    assert row["sent_at"] == desk.clock()


async def test_a_dead_receiver_holds_up_no_other_route(
    desk: Desk, unused_tcp_port: int
) -> None:
    await desk.route("webhook", target=f"http://127.0.0.1:{unused_tcp_port}/gone")
    await desk.route()
    found = {await desk.laptop(): [finding()] for _ in range(3)}
    await desk.find(found)

    await desk.sender.send_due()

    assert len(desk.mail.accepted) == 3
    gone = [row for row in await desk.rows() if row["sent_at"] is None]
    # One was tried; the others are spared until the receiver had a rest.
    assert sorted(row["attempts"] for row in gone) == [0, 0, 1]
    (tried,) = [row["last_problem"] for row in gone if row["attempts"]]
    assert tried.startswith("the receiver cannot be reached")


async def test_stop_use_goes_first(desk: Desk) -> None:
    await desk.route()
    tern = await desk.laptop()
    await desk.find({tern: [finding(), finding("wrong-pack", "act")]})
    desk.clock.move(SECOND)
    await desk.find({await desk.laptop(): [finding("inspect", "stop-use")]})

    await desk.sender.send_due()

    urgencies = [mail["Subject"].split(":")[0] for mail in desk.mail.mails]
    assert urgencies == ["Stop use", "Act", "Act"]


@pytest.mark.parametrize(
    ("recipient", "data", "is_over", "problem"),
    [
        ("450 busy", "250 taken", False, "the mail server answered 450: busy"),
        ("550 unknown", "250 taken", True, "the mail server answered 550: unknown"),
        ("250 fine", "452 full", False, "the mail server answered 452: full"),
        ("250 fine", "554 no", True, "the mail server answered 554: no"),
    ],
)
async def test_a_mail_servers_no_is_told_from_its_not_now(
    desk: Desk, recipient: str, data: str, is_over: bool, problem: str
) -> None:
    await desk.route()
    await desk.find({await desk.laptop(): [finding()]})
    desk.mail.recipient_answer, desk.mail.data_answer = recipient, data

    await desk.sender.send_due()

    (row,) = await desk.rows()
    assert row["last_problem"] == problem
    assert (row["given_up_at"] is not None) is is_over
    assert row["sent_at"] is None


async def test_a_second_try_has_the_same_message_id_and_content(desk: Desk) -> None:
    await desk.route()
    await desk.find({await desk.laptop(): [finding()]})

    async def take_and_deny(_: Accepted) -> None:
        desk.mail.data_answer = "451 not sure"

    desk.mail.on_mail = take_and_deny
    await desk.sender.send_due()
    desk.mail.on_mail, desk.mail.data_answer = None, "250 taken"
    desk.clock.move(MINUTE)

    await desk.sender.send_due()

    first, second = desk.mail.mails
    assert first.as_bytes() == second.as_bytes()


async def test_an_ended_route_gets_nothing_more(desk: Desk) -> None:
    made = await desk.route()
    tern = await desk.laptop()
    await desk.find({tern: [finding(), finding("silent", "note")]})

    assert await end_route(desk.services, made.id, "mira") == 2
    await desk.find({await desk.laptop(): [finding()]})
    assert await make_digests(desk.services) == 0
    await desk.sender.send_due()

    assert desk.mail.accepted == []
    assert [row["last_problem"] for row in await desk.rows()] == [
        "the route was ended",
        "the route was ended",
    ]
    assert await list_routes(desk.services) == []
    with pytest.raises(NotFound):
        await end_route(desk.services, made.id, "mira")


async def test_the_trail_says_who_made_and_ended_a_route_but_not_its_address(
    desk: Desk,
) -> None:
    made = await desk.route("webhook")
    await end_route(desk.services, made.id, "mira")

    async with desk.services.store.reading() as connection:
        lines = [tuple(row) for row in await connection.execute(select(audit))]
    said = repr(lines)
    assert "route made" in said
    assert "mira" in said
    assert desk.hook.url not in said
    assert str(made.secret) not in said


async def test_done_messages_are_forgotten_after_a_season(desk: Desk) -> None:
    await desk.route()
    await desk.find({await desk.laptop(): [finding()]})
    await desk.sender.send_due()
    desk.clock.move(89 * DAY)
    await make_digests(desk.services)
    assert len(await desk.rows()) == 1

    desk.clock.move(2 * DAY)
    await make_digests(desk.services)

    assert await desk.rows() == []


async def test_a_route_can_be_tried_at_any_hour(
    desk: Desk, certificates: Certificates
) -> None:
    always = Quiet(0, 23 * 60 + 59)
    mail = await desk.route(quiet=always)
    hook = await desk.route("webhook", quiet=always)
    server = _server(desk.mail.port)
    async with open_channels(server, PAGES, certificates.authority) as channels:
        await try_route(desk.services, channels, mail.id)
        await try_route(desk.services, channels, hook.id)
        desk.hook.status = 404
        with pytest.raises(Refused, match="404"):
            await try_route(desk.services, channels, hook.id)

    assert desk.mail.mails[0]["Subject"] == "Fadewatch: a test message"
    assert desk.hook.posted[0].plain["what"] == "test"


@pytest.mark.parametrize(
    ("channel", "target", "label"),
    [
        ("mail", "no address", "desk"),
        ("mail", "a@b\r\nBcc: c@d", "desk"),
        ("mail", "Name <a@example.org>", "desk"),
        ("mail", "désk@example.org", "desk"),
        ("mail", DESK, ""),
        ("mail", DESK, "two\nlines"),
        ("webhook", "http://tickets.example/", "desk"),
    ],
)
async def test_a_route_that_cannot_work_is_not_made(
    services: Services, channel: Channel, target: str, label: str
) -> None:
    with pytest.raises(InvalidRequest):
        await make_route(services, label=label, channel=channel, target=target, who="m")

    assert await list_routes(services) == []


def _server(port: int, security: Security = "starttls") -> MailServer:
    return MailServer("127.0.0.1", port, security, None, None, "packs@example.net")


async def _send_mail(server: MailServer | None, context: ssl.SSLContext) -> None:
    mail = Mail(server, PAGES, context)
    await mail.send(message(ALERT), Destination(DESK, None), WRITTEN)


def _trusting(certificates: Certificates) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(certificates.authority))


async def test_mail_goes_over_tls_from_the_first_byte(
    certificates: Certificates,
) -> None:
    async with mail_server(tls=certificates.server_context()) as fake:
        await _send_mail(_server(fake.port, "tls"), _trusting(certificates))

    assert len(fake.accepted) == 1


async def test_mail_goes_to_a_server_that_asks_who_it_is(
    certificates: Certificates,
) -> None:
    async with mail_server(certificates.server_context(), asks_who=True) as fake:
        server = replace(_server(fake.port), user="packs", password=RIGHT)
        await _send_mail(server, _trusting(certificates))

        wrong = replace(server, password="oak leaves")  # noqa: S106  a wrong one
        with pytest.raises(TryLater, match="refused us"):
            await _send_mail(wrong, _trusting(certificates))

    assert len(fake.accepted) == 1


@pytest.mark.parametrize("security", ["starttls", "tls"])
async def test_mail_does_not_go_to_a_server_with_a_strangers_certificate(
    certificates: Certificates, security: Security
) -> None:
    context = certificates.server_context()
    by_command, at_once = (context, None) if security == "starttls" else (None, context)
    async with mail_server(by_command, at_once) as fake:
        with pytest.raises(TryLater, match="cannot be used"):
            await _send_mail(_server(fake.port, security), ssl.create_default_context())

    assert fake.accepted == []


async def test_mail_does_not_go_in_the_clear_when_starttls_is_gone(
    certificates: Certificates,
) -> None:
    async with mail_server() as fake:
        with pytest.raises(TryLater):
            await _send_mail(_server(fake.port), _trusting(certificates))

    assert fake.accepted == []


async def test_mail_without_a_server_waits_for_one() -> None:
    with pytest.raises(TryLater, match="FADEWATCH_MAIL_HOST"):
        await _send_mail(None, ssl.create_default_context())


async def test_a_webhook_does_not_go_to_a_strangers_certificate(
    certificates: Certificates,
) -> None:
    async with (
        webhook_receiver(certificates.server_context()) as hook,
        open_channels(None, PAGES, None) as channels,
    ):
        with pytest.raises(TryLater, match="cannot be reached"):
            await channels["webhook"].send(
                message(ALERT), Destination(hook.url, "secret"), WRITTEN
            )

    assert hook.posted == []


async def test_a_file_without_a_certificate_is_named(
    certificates: Certificates,
) -> None:
    with pytest.raises(InvalidRequest, match="holds no certificate"):
        async with open_channels(None, PAGES, certificates.key):
            pass


async def test_a_running_sender_sends_by_itself_and_ends_when_it_is_told(
    desk: Desk,
) -> None:
    await desk.route()
    await desk.find({await desk.laptop(): [finding()]})
    running = asyncio.create_task(desk.sender.run())

    await desk.mail.until(lambda: len(desk.mail.accepted) == 1)
    desk.sender.close()
    async with asyncio.timeout(10):
        await running

    (row,) = await desk.rows()
    assert row["sent_at"] == desk.clock()
