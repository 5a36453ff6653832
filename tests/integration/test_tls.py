"""TLS served by the collector itself, with a certificate that is renewed in place."""

import asyncio
import http.client
import shutil
import signal
import socket
import ssl
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fadewatch_collector.edge.certificates import Certificate, CertificateTrouble
from tests.certificates import Certificates, make_certificates
from tests.processes import BIN, free_port


@pytest.fixture(scope="module")
def pairs(tmp_path_factory: pytest.TempPathFactory) -> list[Certificates]:
    folder = tmp_path_factory.mktemp("certificates")
    return [make_certificates(folder, name) for name in ("first", "second")]


@pytest.fixture
def in_use(tmp_path: Path, pairs: list[Certificates]) -> Certificates:
    """Files that the service reads, with the first pair in them."""
    files = Certificates(pairs[0].authority, tmp_path / "pem", tmp_path / "key")
    put(pairs[0], files)
    return files


def put(pair: Certificates, files: Certificates) -> None:
    """Replace both files as renewal tools do, by renaming."""
    for old, new in (
        (files.certificate, pair.certificate),
        (files.key, pair.key),
    ):
        shutil.copy(new, old.with_suffix(".new"))
        old.with_suffix(".new").rename(old)


def der(pair: Certificates) -> bytes:
    return ssl.PEM_cert_to_DER_cert(pair.certificate.read_text())


def shaken(
    port: int, authority: Path, least: ssl.TLSVersion | None = None
) -> tuple[bytes, str]:
    """Return the certificate that a handshake shows, and the version agreed on."""
    context = ssl.create_default_context(cafile=str(authority))
    if least is not None:
        context.minimum_version = context.maximum_version = least
        # OpenSSL's own default refuses the old versions before the server can.
        context.set_ciphers("ALL:@SECLEVEL=0")
    with (
        socket.create_connection(("127.0.0.1", port), 10) as plain,
        context.wrap_socket(plain, server_hostname="localhost") as secured,
    ):
        shown = secured.getpeercert(binary_form=True)
        assert shown is not None
        return shown, secured.version() or ""


@asynccontextmanager
async def serving(certificate: Certificate) -> AsyncIterator[int]:
    async def hang_up(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.close()

    server = await asyncio.start_server(
        hang_up, "127.0.0.1", 0, ssl=certificate.context
    )
    async with server:
        yield server.sockets[0].getsockname()[1]


async def test_handshakes_show_the_new_certificate_once_it_was_renewed(
    in_use: Certificates, pairs: list[Certificates]
) -> None:
    certificate = Certificate(in_use.certificate, in_use.key)
    async with serving(certificate) as port:
        before, version = await asyncio.to_thread(shaken, port, pairs[0].authority)
        first_until = certificate.expires_at
        unchanged = certificate.look()
        put(pairs[1], in_use)
        renewed = certificate.look()
        after, _ = await asyncio.to_thread(shaken, port, pairs[1].authority)

    assert (unchanged, renewed) == (False, True)
    assert (before, after) == (der(pairs[0]), der(pairs[1]))
    assert version == "TLSv1.3"
    # The authority of tests gives two days.
    assert timedelta(days=1) < first_until - datetime.now(UTC) < timedelta(days=3)


async def test_a_pair_that_does_not_match_leaves_the_one_before_and_is_told_once(
    in_use: Certificates, pairs: list[Certificates], caplog: pytest.LogCaptureFixture
) -> None:
    certificate = Certificate(in_use.certificate, in_use.key)
    async with serving(certificate) as port:
        shutil.copy(pairs[1].certificate, in_use.certificate)
        looks = [certificate.look(), certificate.look()]
        half, _ = await asyncio.to_thread(shaken, port, pairs[0].authority)
        shutil.copy(pairs[1].key, in_use.key)
        looks.append(certificate.look())
        whole, _ = await asyncio.to_thread(shaken, port, pairs[1].authority)

    assert looks == [False, False, True]
    assert (half, whole) == (der(pairs[0]), der(pairs[1]))
    (told,) = [r for r in caplog.records if r.levelname == "ERROR"]
    assert str(in_use.certificate) in told.getMessage()


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
async def test_versions_before_1_2_are_refused(in_use: Certificates) -> None:
    async with serving(Certificate(in_use.certificate, in_use.key)) as port:
        _, agreed = await asyncio.to_thread(
            shaken, port, in_use.authority, ssl.TLSVersion.TLSv1_2
        )
        with pytest.raises(ssl.SSLError):
            await asyncio.to_thread(
                shaken, port, in_use.authority, ssl.TLSVersion.TLSv1_1
            )

    assert agreed == "TLSv1.2"


@pytest.mark.parametrize("broken", ["missing", "no key", "with password"])
def test_a_pair_that_cannot_be_used_at_all_is_named(
    in_use: Certificates, broken: str
) -> None:
    if broken == "missing":
        in_use.certificate.unlink()
    elif broken == "no key":
        in_use.key.write_text("not a key\n")
    else:
        sealed = in_use.key.with_suffix(".sealed")
        words = ["-aes-128-cbc", "-passout", "pass:1234", "-out", str(sealed)]
        subprocess.run(
            ["openssl", "pkey", "-in", in_use.key, *words],
            check=True,
            capture_output=True,
        )
        sealed.rename(in_use.key)

    with pytest.raises(CertificateTrouble, match=r"cannot be used: .{5,}"):
        Certificate(in_use.certificate, in_use.key)


def test_the_service_takes_a_new_certificate_when_told_and_ends_in_two_steps(
    tmp_path: Path,
    upgraded_file: Path,
    in_use: Certificates,
    pairs: list[Certificates],
) -> None:
    port = free_port()
    (tmp_path / "data").mkdir()
    shutil.copy(upgraded_file, tmp_path / "data" / "fadewatch.sqlite3")
    settings = {
        "DATA_FOLDER": tmp_path / "data",
        "PORT": port,
        "TLS_CERTIFICATE": in_use.certificate,
        "TLS_KEY": in_use.key,
        "DRAIN_SECONDS": 60,
    }
    process = subprocess.Popen(
        [BIN / "fadewatch-collector", "serve"],
        env={f"FADEWATCH_{name}": str(value) for name, value in settings.items()},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    try:
        listens = process.stdout.readline()
        before, _ = shaken(port, pairs[0].authority)
        put(pairs[1], in_use)
        process.send_signal(signal.SIGHUP)
        for line in process.stderr:
            if "taken anew" in line:
                break
        after, _ = shaken(port, pairs[1].authority)
        ready = status(port, pairs[1], "/readyz")
        process.terminate()
        draining = until_not_ready(port, pairs[1])
        alive = status(port, pairs[1], "/healthz")
        process.terminate()
        code = process.wait(30)
    finally:
        process.kill()
        process.communicate()

    assert f"https://127.0.0.1:{port}" in listens
    assert (before, after) == (der(pairs[0]), der(pairs[1]))
    assert (ready, draining, alive) == ((200, ""), (503, "close"), (200, "close"))
    assert code == 0


def status(port: int, pair: Certificates, path: str) -> tuple[int, str]:
    """Return an answer's status and what it says of the connection."""
    context = ssl.create_default_context(cafile=str(pair.authority))
    connection = http.client.HTTPSConnection(
        "localhost", port, timeout=10, context=context
    )
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        answer.read()
        return answer.status, answer.headers.get("Connection", "")
    finally:
        connection.close()


def until_not_ready(port: int, pair: Certificates) -> tuple[int, str]:
    """Ask until the signal has arrived; the test's own time limit ends it."""
    while True:
        found = status(port, pair, "/readyz")
        if found[0] != 200:
            return found
