"""A certificate authority of one's own, and a certificate for loopback under it."""

import ssl
import subprocess
from pathlib import Path

HOST = "collector.example"
"""A name that only a proxy resolves."""

_KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-noenc")


def make_certificates(folder: Path) -> None:
    """Write ca.pem, server.pem and server.key, good for 127.0.0.1 and for HOST."""
    _openssl(
        folder,
        *("req", "-x509", *_KEY, "-keyout", "ca.key", "-out", "ca.pem"),
        *("-subj", "/CN=Test CA", "-days", "2"),
    )
    _openssl(
        folder,
        *("req", *_KEY, "-keyout", "server.key", "-out", "server.csr"),
        *("-subj", "/CN=collector"),
    )
    (folder / "names").write_text(f"subjectAltName=IP:127.0.0.1,DNS:{HOST}\n")
    _openssl(
        folder,
        *("x509", "-req", "-in", "server.csr", "-out", "server.pem", "-days", "2"),
        *("-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-extfile", "names"),
    )


_AUTHORITY = """\
[ca]
default_ca = own
[own]
database = index
new_certs_dir = .
serial = number
default_md = sha256
policy = any
rand_serial = yes
[any]
commonName = supplied
"""


def sign_again(folder: Path, begins: str, ends: str) -> None:
    """Make server.pem anew, valid from one day (YYYYMMDD) to another."""
    (folder / "index").touch()
    (folder / "authority").write_text(_AUTHORITY)
    _openssl(
        folder,
        *("ca", "-batch", "-notext", "-config", "authority", "-in", "server.csr"),
        *("-cert", "ca.pem", "-keyfile", "ca.key", "-extfile", "names"),
        *("-startdate", f"{begins}000000Z", "-enddate", f"{ends}000000Z"),
        *("-out", "server.pem"),
    )


def server_context(folder: Path) -> ssl.SSLContext:
    """Return a server's context with the certificate of a folder."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "server.pem", folder / "server.key")
    return context


def _openssl(folder: Path, *words: str) -> None:
    subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)
