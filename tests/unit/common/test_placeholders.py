"""Values that identify nothing."""

import pytest

from fadewatch_common.placeholders import is_placeholder, is_placeholder_uuid


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        "   ",
        "0",
        "00000000",
        "FFFF",
        "-----",
        "To be filled by O.E.M.",
        "Default string",
        "Not Specified",
        "System Serial Number",
        "N/A",
        "none",
        "123456789",
        "0123456789ABC",
        "0x00000000",
        " unknown ",
    ],
)
def test_placeholders(text: str | None) -> None:
    assert is_placeholder(text)


@pytest.mark.parametrize(
    "text", ["TH4X9Q7K", "00417", "0912", "1A2B", "QM57-3S", "XX12345"]
)
def test_serials_that_may_identify(text: str) -> None:
    assert not is_placeholder(text)


@pytest.mark.parametrize(
    "text", ["Navarra Memory", "Nullarbor", "Testarossa 5", "Nonesuch", "Oemler & Co"]
)
def test_a_name_that_begins_like_a_placeholder_is_a_name(text: str) -> None:
    assert not is_placeholder(text)


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        "00000000-0000-0000-0000-000000000000",
        "FFFFFFFF-FFFF-FFFF-FFFF-FFFFFFFFFFFF",
        "03000200-0400-0500-0006-000700080009",
        "12345678-1234-5678-90AB-CDDEEFAABBCC",
    ],
)
def test_placeholder_uuids(text: str | None) -> None:
    assert is_placeholder_uuid(text)


def test_a_uuid_that_may_identify() -> None:
    assert not is_placeholder_uuid("6f1d3a52-8a3e-4f0a-9c11-aabbccddeeff")
