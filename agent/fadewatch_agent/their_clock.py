"""What the collector's clock says, and TLS on a laptop whose own clock is wrong.

By a clock that is years off every certificate has run out or is not valid yet, and the
laptop could never be heard of. Then its chain and name are checked as ever, and its
time by the Date that the collector itself tells, which may not lie before the last
contact: a certificate that ran out before then stays worthless.
"""

import http.client
import ssl
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

from fadewatch_common.report import FIRST_YEAR, LAST_YEAR

# OpenSSL, include/openssl/x509_vfy.h: not yet valid, has expired; do not check times.
OF_TIME = (9, 10)
_NO_CHECK_TIME = 0x200000


def seconds_ahead(date: str | None) -> float:
    """Return how far a Date is ahead of this laptop's clock [s]; 0 without one."""
    told = parsed_date(date)
    return 0.0 if told is None else (told - datetime.now(UTC)).total_seconds()


def parsed_date(text: str | None) -> datetime | None:
    """Understand an HTTP date (RFC 9110, 5.6.7); None for anything else."""
    try:
        date = parsedate_to_datetime(text or "")
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    # A time that no report may have is nobody's; near the last year of all, adding
    # to it breaks.
    if not FIRST_YEAR <= date.year <= LAST_YEAR:
        return None
    return date if date.tzinfo else date.replace(tzinfo=UTC)


def without_time(strict: ssl.SSLContext) -> ssl.SSLContext:
    """Return a context that trusts the same authorities and looks at no time."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = strict.minimum_version
    ders = strict.get_ca_certs(binary_form=True)
    if ders:
        context.load_verify_locations(cadata=b"".join(ders))
    else:
        # A folder of certificates is read as it is needed, and lists none before.
        context.set_default_verify_paths()
    context.verify_flags |= ssl.VerifyFlags(_NO_CHECK_TIME)
    return context


def is_valid_by_their_clock(
    connection: http.client.HTTPConnection, path: str, not_before: datetime
) -> bool:
    """Ask for the collector's time, sending nothing else, and judge its certificate.

    Parameters
    ----------
    not_before
        Earliest time that is believed.
    """
    try:
        connection.connect()
        certificate = _certificate(connection)
        connection.request("HEAD", path, headers={"Connection": "close"})
        told = parsed_date(connection.getresponse().headers.get("Date"))
    except (OSError, http.client.HTTPException):
        return False
    if told is None or certificate is None or told < not_before:
        return False
    begins, ends = certificate
    return begins <= told.timestamp() <= ends


def _certificate(
    connection: http.client.HTTPConnection,
) -> tuple[float, float] | None:
    """Return from when to when the peer's certificate is valid [unix s]."""
    if not isinstance(connection.sock, ssl.SSLSocket):
        return None
    told = connection.sock.getpeercert() or {}
    begins, ends = told.get("notBefore"), told.get("notAfter")
    if not isinstance(begins, str) or not isinstance(ends, str):
        return None
    return ssl.cert_time_to_seconds(begins), ssl.cert_time_to_seconds(ends)
