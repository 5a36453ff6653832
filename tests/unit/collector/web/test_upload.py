"""Files that travel in a hidden field."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_collector.errors import InvalidRequest
from fadewatch_collector.web.upload import FILE_BYTES, packed, unpacked


@given(st.binary(max_size=2000))
def test_a_file_comes_back_as_it_was(content: bytes) -> None:
    assert unpacked(packed(content)) == content


@given(st.text(max_size=60))
def test_whatever_else_stands_in_the_field_is_refused_or_read(text: str) -> None:
    try:
        content = unpacked(text)
    except InvalidRequest:
        return
    assert len(content) <= FILE_BYTES


def test_a_file_cut_short_is_refused() -> None:
    whole = packed(b"laptop_serial,site\n" * 40)

    with pytest.raises(InvalidRequest, match="lost on the way"):
        unpacked(whole[: len(whole) // 8 * 4])
