"""Whose word is taken for where a request came from."""

from ipaddress import ip_address, ip_network

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.edge.forwarded import Asked, asked_by

PROXY = "10.0.0.5"
TRUSTED = (ip_network("10.0.0.0/24"), ip_network("fd00::/64"))
DIRECT = Asked(PROXY, "http", "inside.example:8470")


def forwarded(direct: Asked = DIRECT, **headers: list[str]) -> Asked:
    named = {f"x-forwarded-{name.rstrip('_')}": v for name, v in headers.items()}
    return asked_by(direct, named, TRUSTED)


def test_a_trusted_proxy_tells_who_asks_and_how() -> None:
    found = forwarded(for_=["203.0.113.9"], proto=["https"], host=["collector.example"])

    assert found == Asked("203.0.113.9", "https", "collector.example", by_proxy=True)


def test_nobody_else_is_believed() -> None:
    stranger = Asked("203.0.113.9", "http", "inside.example")

    found = forwarded(
        stranger, for_=["198.51.100.1"], proto=["https"], host=["evil.example"]
    )

    assert found == stranger


def test_what_the_client_wrote_itself_stands_left_and_is_not_looked_at() -> None:
    found = forwarded(for_=["10.0.0.9, 198.51.100.1, 203.0.113.9"])

    assert found.address == "203.0.113.9"


def test_several_header_lines_are_one_list() -> None:
    assert forwarded(for_=["198.51.100.1", "203.0.113.9"]).address == "203.0.113.9"


def test_proxies_behind_each_other_are_passed_over() -> None:
    found = forwarded(
        for_=["198.51.100.1, 203.0.113.9, 10.0.0.7"],
        proto=["http, https, http"],
        host=["a.example, b.example, c.example"],
    )

    # The outer proxy (10.0.0.7) wrote the client's entries, the inner one its own.
    assert (found.address, found.scheme) == ("203.0.113.9", "https")
    assert found.host == "b.example"


def test_one_scheme_stands_for_all_hops() -> None:
    found = forwarded(for_=["203.0.113.9, 10.0.0.7"], proto=["https"])

    assert found.scheme == "https"


@pytest.mark.parametrize("entry", ["unknown", "", "_hidden", "1.2.3.4, x y", "<b>"])
def test_an_entry_that_is_no_address_ends_the_search_at_the_hop_that_wrote_it(
    entry: str,
) -> None:
    assert forwarded(for_=[entry]).address == PROXY


@pytest.mark.parametrize(
    ("entry", "address"),
    [
        ("203.0.113.9:51234", "203.0.113.9"),
        ("[2001:db8::7]:443", "2001:db8::7"),
        ("2001:db8::7", "2001:db8::7"),
        ("::ffff:203.0.113.9", "203.0.113.9"),
        ("fe80::7%<b>", "fe80::7"),
    ],
)
def test_addresses_come_with_ports_and_in_both_families(
    entry: str, address: str
) -> None:
    assert forwarded(for_=[entry]).address == address


def test_a_proxy_that_came_over_a_mapped_address_is_the_same_proxy() -> None:
    direct = Asked(f"::ffff:{PROXY}", "http", "inside.example")

    assert forwarded(direct, for_=["203.0.113.9"]).address == "203.0.113.9"


@pytest.mark.parametrize("host", ["a b", "a/b", "evil.example\r\nX: 1", "", "a@b"])
def test_a_host_that_is_none_is_not_taken(host: str) -> None:
    assert forwarded(host=[host]).host == DIRECT.host


@pytest.mark.parametrize("scheme", ["", "javascript", "ftp"])
def test_a_scheme_that_is_neither_http_nor_https_is_not_taken(scheme: str) -> None:
    assert forwarded(proto=[scheme]).scheme == "http"


def test_a_long_list_is_looked_at_from_its_near_end_and_not_for_ever() -> None:
    found = forwarded(for_=[", ".join(["203.0.113.9", *["10.0.0.7"] * 1000])])

    assert found.address == "10.0.0.7"


PIECES = st.one_of(
    st.text(max_size=20),
    st.ip_addresses().map(str),
    st.sampled_from(["10.0.0.7", "[::1]:80", "1.2.3.4:5", ",", "https", "", "::1%x"]),
)
LINES = st.lists(st.lists(PIECES, max_size=4).map(",".join), max_size=3)


@given(LINES, LINES, LINES)
def test_whatever_is_sent_the_answer_is_an_address_a_scheme_and_a_host(
    for_: list[str], proto: list[str], host: list[str]
) -> None:
    found = forwarded(for_=for_, proto=proto, host=host)

    assert str(ip_address(found.address)) == found.address
    assert found.scheme in {"http", "https"}
    assert found.host.isascii()
    assert found.host.isprintable()
    assert not set(found.host) & set("/@<> ")


@given(LINES, st.ip_addresses(network="203.0.113.0/24").map(str))
def test_what_stands_left_of_the_first_stranger_changes_nothing(
    invented: list[str], stranger: str
) -> None:
    assert forwarded(for_=[*invented, stranger]) == forwarded(for_=[stranger])
