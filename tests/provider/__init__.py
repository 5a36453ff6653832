"""A real OpenID Connect provider for tests: django-oauth-toolkit, in its own process."""

import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from tests.certificates import Certificates, make_certificates
from tests.processes import free_port

CLIENT_ID = "fadewatch"
CLIENT_SECRET = "50 % of: a secret/+"  # noqa: S105  of a test's client
START_S = 50.0


@dataclass(frozen=True, slots=True)
class Provider:
    """Where the provider runs, and what a test may change in it."""

    port: int
    certificates: Certificates

    @property
    def address(self) -> str:
        return f"https://127.0.0.1:{self.port}"

    @property
    def issuer(self) -> str:
        return self.address + "/o"

    def trust(self) -> ssl.SSLContext:
        """Return what a browser needs that trusts the provider."""
        return ssl.create_default_context(cafile=str(self.certificates.authority))

    def person(self, name: str, *groups: str, called: str = "") -> None:
        """Have a person there, with these groups and no others."""
        self._tell("person", name=name, groups=",".join(groups), called=called or name)

    def collector(self, address: str) -> None:
        """Send browsers back to a collector."""
        self._tell("collector", address=address)

    def new_key(self) -> None:
        """Sign with another key from now on."""
        self._tell("new-key")

    def answers(self) -> bool:
        """Say whether it runs."""
        try:
            self._tell("ready")
        except OSError:
            return False
        return True

    def _tell(self, what: str, **more: str) -> None:
        address = f"{self.address}/test/{what}?{urlencode(more)}"
        with urllib.request.urlopen(address, timeout=10, context=self.trust()):  # noqa: S310  a loopback address
            pass


@contextmanager
def running_provider(folder: Path) -> Iterator[Provider]:
    """Run the provider until the block ends."""
    certificates = make_certificates(folder, "provider")
    provider = Provider(free_port(), certificates)
    with (folder / "provider.log").open("wb") as log:
        process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "tests.provider",
                str(provider.port),
                str(certificates.certificate),
                str(certificates.key),
            ],
            cwd=Path(__file__).parents[2],
            stdout=log,
            stderr=log,
        )
    try:
        deadline = time.monotonic() + START_S
        while not provider.answers():
            said = (folder / "provider.log").read_text()
            assert process.poll() is None, said
            assert time.monotonic() < deadline, "the provider does not answer"
            time.sleep(0.1)
        yield provider
    finally:
        process.terminate()
        process.wait(10)


def settings_for(provider: Provider) -> Mapping[str, object]:
    """Return the settings of a collector that trusts the provider."""
    return {
        "oidc_issuer": provider.issuer,
        "oidc_client_id": CLIENT_ID,
        "oidc_client_secret": CLIENT_SECRET,
        "private_ca": provider.certificates.authority,
    }
