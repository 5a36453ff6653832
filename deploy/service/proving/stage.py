"""PostgreSQL, nginx and two collectors of a proof, in a folder of their own."""

import os
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path

HOST = "127.0.0.1"
START_S = 120.0
"""Longest wait for a program to answer [s]."""
STOP_S = 60.0

NGINX = Path(__file__).parents[1] / "nginx"


class StepError(Exception):
    """A step that did not do what it should."""


@dataclass(slots=True)
class Stage:
    """Where everything runs."""

    folder: Path
    ports: list[int] = field(default_factory=lambda: free_ports(6))
    bin: Path = field(default_factory=lambda: Path(sys.executable).parent)
    collectors: dict[int, subprocess.Popen[bytes]] = field(default_factory=dict)
    nginx: subprocess.Popen[bytes] | None = None
    has_postgres: bool = False

    @property
    def url(self) -> str:
        """Address of the proxy."""
        return f"https://{HOST}:{self.ports[3]}"

    @property
    def authority(self) -> Path:
        """The certificate authority's own certificate."""
        return self.folder / "ca.pem"

    def database(self, name: str = "fadewatch") -> str:
        """Address of a database."""
        return f"postgresql://fadewatch@/{name}?host={self.folder / 'pg'}"

    def trust(self) -> ssl.SSLContext:
        """Return what a client needs to believe the proxy."""
        return ssl.create_default_context(cafile=str(self.authority))

    # PostgreSQL

    def start_postgres(self) -> str:
        """Make a cluster that listens on a socket alone, and a database in it."""
        data = self.folder / "pg"
        data.mkdir(mode=0o700)
        if os.geteuid() == 0:
            shutil.chown(data, "postgres")
        words = ["--auth=trust", "--username=fadewatch", "--encoding=UTF8"]
        self.postgres("initdb", "-D", str(data), *words)
        said = "-c listen_addresses='' -c unix_socket_permissions=0777"
        options = f"-k {data} {said}"
        log = str(data / "log")
        self.postgres(
            "pg_ctl", "-D", str(data), "-l", log, "-o", options, "-w", "start"
        )
        self.has_postgres = True
        # Who asks may be another user than who serves.
        data.chmod(0o711)
        self.postgres("createdb", "-h", str(data), "-U", "fadewatch", "fadewatch")
        return self.postgres("postgres", "--version").strip()

    def postgres(self, program: str, *words: str) -> str:
        """Run one of PostgreSQL's programs, as its user when this one is root."""
        command = [str(postgres_bin() / program), *words]
        if os.geteuid() == 0:
            command = ["runuser", "-u", "postgres", "--", *command]
        # pg_ctl leaves a server behind that would hold a pipe open.
        with (self.folder / "postgres.out").open("a+") as out:
            start = out.seek(0, os.SEEK_END)
            done = subprocess.run(command, stdout=out, stderr=out, cwd="/", check=False)
            out.seek(start)
            said = out.read()
        if done.returncode:
            raise StepError(f"{program}: {said.strip()}")
        return said

    # Certificates and nginx

    def make_certificates(self) -> None:
        """Make an authority, and a certificate for this machine under it."""
        kind = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-noenc"]
        ca = ["-CA", "ca.pem", "-CAkey", "ca.key", "-addext"]
        names = [*ca, f"subjectAltName=IP:{HOST}", "-addext"]
        leaf = [*names, "basicConstraints=critical,CA:FALSE"]
        for name, more in (("ca", []), ("key", leaf)):
            out = "ca.pem" if name == "ca" else "certificate.pem"
            files = [
                "-keyout",
                f"{name}.key",
                "-out",
                out,
                "-subj",
                f"/CN=proof {name}",
            ]
            command = ["openssl", "req", "-x509", *kind, *files, "-days", "2", *more]
            run(command, cwd=self.folder)

    def start_nginx(self) -> str:
        """Run nginx with the files of this folder, but for ports and paths."""
        home = self.folder / "nginx"
        (home / "fadewatch").mkdir(parents=True)
        changes = {
            "listen [::]": "# listen [::]",
            "listen 80;": f"listen {HOST}:{self.ports[2]};",
            "listen 443 ": f"listen {HOST}:{self.ports[3]} ",
            "https://$host$": f"https://$host:{self.ports[3]}$",
            "/etc/fadewatch/tls/certificate.pem": str(self.folder / "certificate.pem"),
            "/etc/fadewatch/tls/key.pem": str(self.folder / "key.key"),
            f"{HOST}:8470": f"{HOST}:{self.ports[0]}",
            f"{HOST}:8471": f"{HOST}:{self.ports[1]}",
        }
        for file in NGINX.glob("*.conf"):
            text = file.read_text()
            for old, new in changes.items():
                text = text.replace(old, new)
            (home / "fadewatch" / file.name).write_text(text)
        temp = "".join(
            f"{kind}_temp_path {home}/{kind};\n"
            for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        user = "user root;\n" if os.geteuid() == 0 else ""
        (home / "nginx.conf").write_text(
            f"{user}daemon off;\npid {home}/pid;\nevents {{ }}\n"
            f"http {{\n{temp}access_log off;\ninclude fadewatch/fadewatch.conf;\n}}\n"
        )
        command = ["nginx", "-e", f"{home}/error.log", "-c", f"{home}/nginx.conf"]
        run([*command, "-t"])
        self.nginx = subprocess.Popen(command)
        wait_until(lambda: self.ask("/readyz")[0] == HTTPStatus.OK, "nginx")
        told = subprocess.run(
            [*command, "-v"], capture_output=True, text=True, check=True
        )
        return told.stderr.strip()

    def ask(self, path: str) -> tuple[int, str]:
        """Ask the proxy for a page; returns status and body."""
        try:
            with urllib.request.urlopen(
                self.url + path, timeout=10, context=self.trust()
            ) as answer:
                return answer.status, answer.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode()

    # Collectors

    def environment(
        self, number: int = 0, database: str = "fadewatch"
    ) -> dict[str, str]:
        """Return the settings of one collector, as its environment file has them."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith("FADEWATCH_")}
        return kept | {
            "FADEWATCH_DATABASE_URL": self.database(database),
            "FADEWATCH_DATA_FOLDER": str(self.folder / f"collector-{number}"),
            "FADEWATCH_PORT": str(self.ports[number]),
            "FADEWATCH_METRICS_ADDRESS": f"{HOST}:{self.ports[4 + number]}",
            "FADEWATCH_PUBLIC_URL": self.url,
            "FADEWATCH_TRUSTED_PROXIES": HOST,
            "FADEWATCH_DRAIN_SECONDS": "2",
            "FADEWATCH_LOG": "json",
            "PYTHONUNBUFFERED": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }

    def sqlite_environment(self, name: str) -> dict[str, str]:
        """Return the settings of a collector on SQLite that serves TLS itself."""
        shared = self.environment()
        del shared["FADEWATCH_DATABASE_URL"], shared["FADEWATCH_TRUSTED_PROXIES"]
        return shared | {
            "FADEWATCH_DATA_FOLDER": str(self.folder / name),
            "FADEWATCH_PUBLIC_URL": f"https://{HOST}:{self.ports[0]}",
            "FADEWATCH_TLS_CERTIFICATE": str(self.folder / "certificate.pem"),
            "FADEWATCH_TLS_KEY": str(self.folder / "key.key"),
        }

    def collector(self, *words: str, database: str = "fadewatch") -> str:
        """Run one of the collector's commands and return what it printed."""
        return self.run(self.environment(0, database), *words)

    def run(self, environment: dict[str, str], *words: str) -> str:
        """Run a command of the collector with settings of its own."""
        done = subprocess.run(
            [self.bin / "fadewatch-collector", *words],
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            raise StepError(
                f"{' '.join(words)}: {(done.stderr or done.stdout).strip()}"
            )
        return done.stdout.strip()

    def start_collector(
        self, number: int, environment: dict[str, str] | None = None
    ) -> None:
        """Start a collector and wait until it is ready."""
        settings = environment or self.environment(number)
        with self.log(number).open("ab") as log:
            process = self.collectors[number] = subprocess.Popen(
                [self.bin / "fadewatch-collector", "serve"],
                env=settings,
                stdout=log,
                stderr=log,
            )
        scheme = "https" if "FADEWATCH_TLS_KEY" in settings else "http"
        url = f"{scheme}://{HOST}:{self.ports[number]}/readyz"

        def is_ready() -> bool:
            if process.poll() is not None:
                raise StepError(f"the collector ended: see {self.log(number)}")
            with urllib.request.urlopen(
                url, timeout=10, context=self.trust()
            ) as answer:
                return bool(answer.status == HTTPStatus.OK)

        wait_until(is_ready, f"collector {number}")

    def log(self, number: int) -> Path:
        """Where a collector's log goes."""
        return self.folder / f"collector-{number}.log"

    def stop_collector(self, number: int) -> None:
        """Stop a collector as a system would, and see that it ends well."""
        process = self.collectors.pop(number)
        process.terminate()
        if process.wait(STOP_S) != 0:
            raise StepError(f"collector {number} ended with {process.returncode}")

    def kill(self, number: int) -> None:
        """Kill a collector without a warning."""
        process = self.collectors.pop(number)
        process.kill()
        process.wait(STOP_S)

    def stop_all(self) -> None:
        """Stop whatever runs."""
        programs = [*self.collectors.values(), *([self.nginx] if self.nginx else [])]
        for process in programs:
            process.send_signal(signal.SIGTERM)
        for process in programs:
            process.wait(STOP_S)
        if self.has_postgres:
            self.postgres("pg_ctl", "-D", str(self.folder / "pg"), "-m", "fast", "stop")


def run(command: list[str], cwd: Path | None = None) -> None:
    """Run a command; what it says is told when it fails."""
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
    if done.returncode:
        raise StepError(f"{' '.join(command)}: {done.stderr.strip()}")


def wait_until(is_so: Callable[[], bool], what: str) -> None:
    """Wait until something answers.

    Raises
    ------
    StepError
        It does not, within START_S.
    """
    deadline = time.monotonic() + START_S
    while True:
        try:
            if is_so():
                return
        except OSError:
            pass
        if time.monotonic() > deadline:
            raise StepError(f"{what} does not answer")
        time.sleep(0.1)


def postgres_bin() -> Path:
    """Return the folder of PostgreSQL's programs, the newest where there are several.

    Raises
    ------
    StepError
        There is none.
    """
    found = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"),
        key=lambda path: int(path.parts[-3]),
    )
    on_path = shutil.which("initdb")
    if not found and on_path is None:
        raise StepError("PostgreSQL's programs are not here (Debian: postgresql)")
    return (found[-1] if found else Path(str(on_path))).resolve().parent


def free_ports(count: int) -> list[int]:
    """Return ports that nothing listens on."""
    probes = [socket.socket() for _ in range(count)]
    for probe in probes:
        probe.bind((HOST, 0))
    ports = [int(probe.getsockname()[1]) for probe in probes]
    for probe in probes:
        probe.close()
    return ports
