"""Report ids after RFC 9562."""

from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fadewatch_common.report_id import (
    RANDOM_BITS,
    InvalidReportId,
    check_report_id,
    make_report_id,
)

moments = st.integers(0, 2**48 - 1)
bits = st.integers(0, 2**RANDOM_BITS - 1)


def test_the_published_example() -> None:
    # RFC 9562, appendix A.6: unix_ts_ms 0x017F22E279B0, rand_a 0xCC3,
    # rand_b 0x18C4DC0C0C07398F in 62 bits.
    made = make_report_id(0x017F22E279B0, 0xCC3 << 62 | 0x18C4DC0C0C07398F)

    assert made == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@given(moments, bits)
def test_every_id_is_a_uuid_of_version_7(moment: int, random: int) -> None:
    made = make_report_id(moment, random)

    assert UUID(made).version == 7
    assert UUID(made).variant == "specified in RFC 4122"
    assert check_report_id(made.upper()) == made


@given(moments, moments, bits, bits)
def test_order_of_ids_is_order_of_time(
    early: int, late: int, first: int, second: int
) -> None:
    early, late = sorted((early, late))

    if early != late:
        assert make_report_id(early, first) < make_report_id(late, second)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "017f22e2-79b0-4cc3-98c4-dc0c0c07398f",
        "017f22e2-79b0-7cc3-58c4-dc0c0c07398f",
        "017f22e279b07cc398c4dc0c0c07398f",
        "017f22e2-79b0-7cc3-98c4-dc0c0c07398f\n",
        "x" * 5000,
    ],
)
def test_other_text_is_no_report_id(text: str) -> None:
    with pytest.raises(InvalidReportId) as raised:
        check_report_id(text)

    assert len(str(raised.value)) < 100
