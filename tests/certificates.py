"""A certificate authority for tests, and a certificate under it for this machine."""

import ssl
import subprocess
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Certificates:
    """Where the files are."""

    authority: Path
    certificate: Path
    key: Path

    def server_context(self) -> ssl.SSLContext:
        """Return what a server on 127.0.0.1 needs."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate, self.key)
        return context


def make_certificates(folder: Path, name: str = "here") -> Certificates:
    """Make an authority, and a certificate for 127.0.0.1 and localhost under it."""
    files = [folder / f"{name}-{part}" for part in ("ca.pem", "ca.key", "pem", "key")]
    authority, authority_key, certificate, key = files
    _new_pair(authority, authority_key, f"/CN=Test CA {name}")
    _new_pair(
        certificate,
        key,
        "/CN=a server in a test",
        "-CA",
        str(authority),
        "-CAkey",
        str(authority_key),
        "-addext",
        "subjectAltName=IP:127.0.0.1,DNS:localhost",
        "-addext",
        "basicConstraints=critical,CA:FALSE",
    )
    return Certificates(authority, certificate, key)


def _new_pair(certificate: Path, key: Path, subject: str, *more: str) -> None:
    kind = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-noenc")
    files = ("-keyout", str(key), "-out", str(certificate))
    subprocess.run(
        [
            "openssl",
            "req",
            "-x509",
            *kind,
            *files,
            "-subj",
            subject,
            "-days",
            "2",
            *more,
        ],
        check=True,
        capture_output=True,
    )
