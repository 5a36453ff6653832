"""How a mail is composed: complete, the same each time, and proof against packs."""

from dataclasses import replace
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.outbound.mail import compose
from fadewatch_collector.outbound.wording import text_of
from fadewatch_collector.rules.alert_terms import ALERT_KINDS, KIND_WORDS
from fadewatch_collector.rules.cautions import STOP_USE_CAUTIONS
from fadewatch_collector.rules.messages import Message, ToldAlert
from tests.unit.collector.outbound.messages import ALERT, PAGES, STOP_USE, message

TO, SENDER = "desk@example.org", "packs@example.net"
HEADERS = {
    "From",
    "To",
    "Subject",
    "Date",
    "Message-ID",
    "Auto-Submitted",
    "MIME-Version",
    "Content-Type",
    "Content-Transfer-Encoding",
}


def read_back(told: Message) -> EmailMessage:
    raw = compose(told, TO, SENDER, PAGES).as_bytes()
    return message_from_bytes(raw, EmailMessage, policy=SMTP)


def text(told: Message) -> str:
    return text_of(told, PAGES)


def test_the_headers_say_from_whom_about_what_and_when() -> None:
    mail = read_back(message(ALERT))

    assert mail["From"] == "Fadewatch <packs@example.net>"
    assert mail["To"] == TO
    assert mail["Subject"] == "Act: Replace the pack, A-1042, tern-014, North"
    assert mail["Message-ID"] == (
        "<alert-17.0.act.20260302T090000Z.route-1@example.net>"
    )
    assert mail["Date"] == "Mon, 02 Mar 2026 09:00:00 +0000"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert set(mail.keys()) == HEADERS


def test_a_mail_composed_again_is_the_same_to_the_byte() -> None:
    first, second = (compose(message(ALERT), TO, SENDER, PAGES) for _ in range(2))

    assert first.as_bytes() == second.as_bytes()


def test_the_text_says_what_where_why_and_what_to_do() -> None:
    said = text(message(ALERT))

    for part in (
        "Act: Replace the pack",
        "Laptop: A-1042 tern-014",
        "Serial: BM-00314",
        "Site: North",
        "Pack: Callow Cells CC-57 00417",
        "Wear is 43.5 % on 2026-03-02",
        "wear: 43.5 %",
        "readings: 12",
        "Replace the pack, and look for physical signs of swelling first.",
        "https://packs.example.org/laptops/3",
        "never show that a pack is safe",
    ):
        assert part in said
    assert "fade:" not in said
    assert "Cautions" not in said


def test_stop_use_carries_the_cautions_and_is_marked_important() -> None:
    mail = read_back(message(STOP_USE))
    said = text(message(STOP_USE))

    assert mail["Importance"] == "high"
    assert mail["Subject"].startswith("Stop use: Swelling reported")
    assert "Holder: Mira" in said
    for caution in STOP_USE_CAUTIONS:
        assert caution in said


def test_a_digest_lists_alerts_under_urgency_and_site() -> None:
    plan = replace(ALERT, urgency="plan", kind="wear-plan", state="planned")
    plan = replace(plan, planned_on="2026-03-09")
    note = replace(ALERT, id=18, urgency="note", kind="silent", site=None)
    told = message(plan, note, what="digest", more=4)

    said = text(told)

    assert read_back(told)["Subject"] == "Fadewatch: 6 to plan or note"
    order = ("PLAN", "North", "Plan a new pack (planned for 2026-03-09)", "NOTE")
    places = [said.index(part) for part in (*order, "(no site)", "No report")]
    assert places == sorted(places)
    assert "and 4 more: https://packs.example.org/" in said


def test_every_kind_of_alert_has_words() -> None:
    assert set(KIND_WORDS) == set(ALERT_KINDS)


@pytest.mark.parametrize(
    "word", ["=??Q?=0D", "=?utf-8?q?=0D=0ABcc:_all=40example.org?=", "=?=?utf-8?q?=0D"]
)
def test_an_encoded_word_in_a_name_stays_what_it_is(word: str) -> None:
    mail = read_back(message(replace(ALERT, hostname=word)))

    assert set(mail.keys()) == HEADERS
    assert word.replace("=?", "= ?") in mail["Subject"]


HOSTILE = st.one_of(
    st.text(st.characters(), max_size=200),
    st.sampled_from(
        [
            "x\r\nBcc: all@example.org\r\n\r\nbody",
            "x\nSubject: another",
            "=?utf-8?q?=0D=0ABcc:_a?=",
            "=??Q?=0D",
            "\u202egnp.exe",
            "\ud800",
            "\r",
            "a" * 5000,
            "Zoë 電池 \U0001f50b",
        ]
    ),
)


@given(
    st.dictionaries(
        st.sampled_from(
            [
                "site",
                "asset_tag",
                "hostname",
                "laptop_maker",
                "laptop_model",
                "laptop_serial",
                "pack_maker",
                "pack_model",
                "pack_serial",
            ]
        ),
        HOSTILE,
    ),
    HOSTILE,
    st.sampled_from([ALERT, STOP_USE]),
)
def test_no_text_of_a_pack_or_laptop_adds_a_header_or_a_line_of_its_own(
    texts: dict[str, str], reason: str, alert: ToldAlert
) -> None:
    hostile = replace(alert, reasons=(reason,), **texts)  # type: ignore[arg-type]  # texts only

    mail = read_back(message(hostile))

    assert set(mail.keys()) - {"Importance"} == HEADERS
    assert mail["To"] == TO
    assert len(mail["Subject"]) <= 150
    body = mail.get_body(("plain",))
    assert body is not None
    lines = body.get_content().splitlines()
    assert len(lines) <= 40
    assert not any(line.startswith(("Bcc", "Subject:")) for line in lines)


@pytest.mark.parametrize("target", ["a@b\r\nBcc: c@d", "no address", "a@b, c@d", ""])
def test_an_address_that_is_none_is_not_written_to(target: str) -> None:
    with pytest.raises((ValueError, IndexError)):
        compose(message(ALERT), target, SENDER, PAGES)
