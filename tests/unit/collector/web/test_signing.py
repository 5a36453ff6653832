"""Signatures of cookies and forms."""

import pytest

from fadewatch_collector.web.sign_in import own_path
from fadewatch_collector.web.signing import Signing

SIGNING = Signing("a secret of the store")


def test_a_sealed_value_opens_again() -> None:
    assert SIGNING.opened(SIGNING.sealed("session:fws_x")) == "session:fws_x"


@pytest.mark.parametrize("sealed", ["", "fws_x", "fws_x.AAAA", "é.ü", "." * 50])
def test_what_we_did_not_seal_does_not_open(sealed: str) -> None:
    assert SIGNING.opened(sealed) is None


def test_another_store_s_seal_does_not_open() -> None:
    assert SIGNING.opened(Signing("another").sealed("x")) is None


def test_a_form_token_is_good_in_its_own_session_only() -> None:
    token = SIGNING.form_token("fws_one")

    assert SIGNING.is_form_token(token, "fws_one")
    assert not SIGNING.is_form_token(token, "fws_two")


def test_a_form_token_is_no_seal() -> None:
    forged = f"fws_one.{SIGNING.form_token('fws_one')}"

    assert SIGNING.opened(forged) is None


@pytest.mark.parametrize("token", ["", "é", "x" * 5000])
def test_nonsense_is_no_form_token(token: str) -> None:
    assert not SIGNING.is_form_token(token, "fws_one")


@pytest.mark.parametrize("path", ["/", "/laptops/3", "/?kind=silent&site=A%20B"])
def test_sign_in_goes_on_to_pages_of_ours(path: str) -> None:
    assert own_path(path) == path


@pytest.mark.parametrize(
    "path",
    [None, "", "https://elsewhere.example", "//elsewhere.example", "/\\elsewhere.example",
     "laptops", "/\tx", "/\r\nSet-Cookie: a=b", "javascript:alert(1)"],
)  # fmt: skip
def test_sign_in_never_leads_elsewhere(path: str | None) -> None:
    assert own_path(path) == "/"
