"""The service's own TLS: a certificate that is taken anew when it was renewed."""

import asyncio
import logging
import ssl
from datetime import datetime
from pathlib import Path

from cryptography import x509

from fadewatch_collector.errors import CollectorError

log = logging.getLogger(__name__)

LOOK_S = 30.0
"""How often the files are looked at [s]. Own choice: renewals come weeks early."""

_Stamp = tuple[tuple[int, int, int], ...]


class CertificateTrouble(CollectorError, OSError):
    """The certificate or its key cannot be used."""

    def __init__(self, certificate: Path, key: Path, why: str) -> None:
        super().__init__(
            f"the TLS certificate {certificate} with the key {key} cannot be used: "
            f"{why}"
        )


class Certificate:
    """A certificate and its key, from files that may be replaced at any time.

    Connections that are open keep what they began with; a pair that cannot be used is
    logged once, and the one before stays.

    Attributes
    ----------
    context
        What a server is started with.
    expires_at
        Until when the certificate that is in use is good.

    Raises
    ------
    CertificateTrouble
        It cannot be used to begin with.
    """

    def __init__(self, certificate: Path, key: Path) -> None:
        self._certificate = certificate
        self._key = key
        self._seen = self._stamp()
        self._current, self.expires_at = self._loaded()
        self.context = self._current
        self.context.sni_callback = self._choose

    def look(self) -> bool:
        """Take the files anew if they changed; returns whether they are in use now."""
        stamp = self._stamp()
        if stamp == self._seen:
            return False
        # First the stamp: what changes while it is read is looked at again.
        self._seen = stamp
        return self.renew()

    def renew(self) -> bool:
        """Take the files anew; returns whether they are in use now."""
        try:
            self._current, self.expires_at = self._loaded()
        except CertificateTrouble as problem:
            log.error("%s; the one before stays in use", problem)  # noqa: TRY400
            return False
        log.info("the TLS certificate was taken anew, good until %s", self.expires_at)
        return True

    def expires_s(self) -> float:
        """Return until when the certificate in use is good [s since 1970]."""
        return self.expires_at.timestamp()

    async def watch(self, asked: asyncio.Event, every_s: float = LOOK_S) -> None:
        """Look at the files now and then, and take them at once when asked to."""
        while True:
            try:
                async with asyncio.timeout(every_s):
                    await asked.wait()
            except TimeoutError:
                self.look()
            else:
                asked.clear()
                self._seen = self._stamp()
                self.renew()

    def _choose(
        self, connection: ssl.SSLObject, name: str | None, context: ssl.SSLContext
    ) -> None:
        """Give a connection that begins the newest pair, whatever name it asks for."""
        del name, context
        connection.context = self._current

    def _loaded(self) -> tuple[ssl.SSLContext, datetime]:
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.set_alpn_protocols(["http/1.1"])
        try:
            # Without a password, a key that has one would ask for it at the terminal.
            context.load_cert_chain(self._certificate, self._key, password=b"")
            shown = x509.load_pem_x509_certificate(self._certificate.read_bytes())
        except (OSError, ValueError) as problem:
            why = getattr(problem, "strerror", None) or str(problem)
            raise CertificateTrouble(self._certificate, self._key, why) from problem
        return context, shown.not_valid_after_utc

    def _stamp(self) -> _Stamp:
        return tuple(_stamp_of(file) for file in (self._certificate, self._key))


def _stamp_of(file: Path) -> tuple[int, int, int]:
    try:
        found = file.stat()
    except OSError:
        return (0, 0, 0)
    return (found.st_mtime_ns, found.st_size, found.st_ino)
