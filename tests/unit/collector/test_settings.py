"""The settings of mail: what goes together and what does not."""

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from fadewatch_collector.settings import Settings

FROM = "packs@example.org"


def wrong_field(**given: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        Settings(**given)
    (error,) = caught.value.errors()
    return str(error["loc"][0])


def test_a_mail_server_needs_an_address_that_mail_comes_from() -> None:
    assert wrong_field(mail_host="mail.example") == "mail_from"
    assert Settings(mail_host="mail.example", mail_from=FROM).mail_from == FROM
    assert Settings().mail_from is None


@pytest.mark.parametrize("sender", ["packs", "a@b\nBcc: c@d", "Packs <a@b.c>", "@b"])
def test_mail_comes_from_a_plain_address(sender: str) -> None:
    assert wrong_field(mail_from=sender) == "mail_from"


def test_mail_in_the_clear_is_for_the_loopback_address() -> None:
    for host in ("127.0.0.1", "::1", "localhost"):
        Settings(mail_host=host, mail_from=FROM, mail_security="none")
    for host in ("mail.example", "10.0.0.5", "localhost.example"):
        given = {"mail_host": host, "mail_from": FROM, "mail_security": "none"}
        assert wrong_field(**given) == "mail_security"


def test_a_private_authority_must_be_a_file(tmp_path: Path) -> None:
    assert wrong_field(private_ca=tmp_path / "none.pem") == "private_ca"


def test_the_password_shows_nowhere() -> None:
    settings = Settings(mail_password="pine needles")  # noqa: S106  of a test

    assert "pine" not in repr(settings)


@pytest.mark.parametrize(
    ("given", "url"),
    [
        ({"public_url": "https://packs.example.org/"}, "https://packs.example.org"),
        ({"host": "127.0.0.1", "port": 9000}, "http://127.0.0.1:9000"),
        ({"host": "::1", "port": 9000}, "http://[::1]:9000"),
    ],
)
def test_messages_link_to_where_people_reach_the_pages(
    given: dict[str, Any], url: str
) -> None:
    assert Settings(**given).pages_url == url


def test_trusted_proxies_are_addresses_and_networks_of_both_families(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("FADEWATCH_TRUSTED_PROXIES", "10.0.0.5, fd00::/64 192.0.2.0/24")

    assert list(map(str, Settings().trusted_proxies)) == [
        "10.0.0.5/32",
        "fd00::/64",
        "192.0.2.0/24",
    ]


@pytest.mark.parametrize("given", ["proxy.example", "10.0.0.5/24", "*"])
def test_a_trusted_proxy_that_is_no_address_is_named(
    monkeypatch: pytest.MonkeyPatch, given: str
) -> None:
    monkeypatch.setenv("FADEWATCH_TRUSTED_PROXIES", given)

    with pytest.raises(ValidationError, match="trusted_proxies"):
        Settings()
