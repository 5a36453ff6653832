"""The packed date of the Smart Battery Data Specification."""

from datetime import date

FIRST_YEAR = 1980
"""Year that the packed date counts from (Smart Battery Data Specification 1.1)."""

_LARGEST = 0xFFFF


def unpack_date(packed: int) -> date | None:
    """Return the date packed as day + 32 * month + 512 * (year - 1980).

    None for 0 and for every value that is no day of the calendar: packs are often
    shipped without a date.

    References
    ----------
    Smart Battery Data Specification 1.1 (SBS-IF, 1998), ManufactureDate 0x1B.
    """
    if not 0 < packed <= _LARGEST:
        return None
    try:
        return date(FIRST_YEAR + (packed >> 9), packed >> 5 & 0xF, packed & 0x1F)
    except ValueError:
        return None
