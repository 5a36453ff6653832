"""What is checked of a deployment that runs."""

import http.client
import http.cookiejar
import json
import re
import secrets
import subprocess
import time
import urllib.parse
import urllib.request
from http.client import HTTPMessage, HTTPResponse

from proving.load import Load, psql
from proving.stage import HOST, Stage, StepError, wait_until

NEWS_S = 90.0
"""Longest wait for the news of an alert [s]."""
TOO_LARGE_BYTES = 9 * 1024 * 1024

FADEWATCH_READ = (0, 3)
"""Exit codes of the agent on a machine with and without a pack."""


def expect(found: object, wanted: object, what: str) -> None:
    """Compare what was found with what was wanted.

    Raises
    ------
    StepError
        They differ.
    """
    if found != wanted:
        raise StepError(f"{what}: {found!r} instead of {wanted!r}")


def headers(stage: Stage) -> None:
    """Look at the redirection, the headers of TLS, cookies, and too large a body."""
    plain = http.client.HTTPConnection(HOST, stage.ports[2], timeout=10)
    plain.request("GET", "/alerts?x=1", headers={"Host": HOST})
    led = plain.getresponse()
    expect(led.status, 301, "plain HTTP")
    expect(led.headers["Location"], f"{stage.url}/alerts?x=1", "where it leads")
    plain.close()
    status, found, _ = ask(stage, "GET", "/sign-in")
    expect(status, 200, "the sign-in page")
    expect("max-age" in found.get("Strict-Transport-Security", ""), True, "HSTS")
    cookie = found.get("Set-Cookie", "")
    expect(cookie.startswith("__Host-") and "Secure" in cookie, True, "a secure cookie")
    status, _, _ = ask(stage, "POST", "/api/v1/reports", b"x" * TOO_LARGE_BYTES)
    expect(status, 413, "too large a body")


def ask(
    stage: Stage, method: str, path: str, body: bytes | None = None
) -> tuple[int, HTTPMessage, bytes]:
    """Ask the proxy once and follow nothing."""
    connection = http.client.HTTPSConnection(
        HOST, stage.ports[3], timeout=30, context=stage.trust()
    )
    try:
        connection.request(method, path, body)
        answer = connection.getresponse()
        return answer.status, answer.headers, answer.read()
    finally:
        connection.close()


def agent(stage: Stage) -> str:
    """Let this machine's own agent enrol and report."""
    _report_here(stage, stage.environment(), stage.url, "agent")
    expect(psql(stage, "SELECT count(*) FROM reports"), ["1"], "reports")
    return "1 report"


def _report_here(
    stage: Stage, environment: dict[str, str], url: str, state: str
) -> None:
    token = stage.folder / "token"
    words = ("token", "new", "--label", "this machine")
    token.write_text(stage.run(environment, *words))
    done = subprocess.run(
        [
            stage.bin / "fadewatch-agent",
            "report",
            f"--collector={url}",
            f"--token-file={token}",
            f"--ca={stage.authority}",
            f"--state={stage.folder / state}",
            "--patience=0",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode not in FADEWATCH_READ:
        raise StepError(f"the agent ended with {done.returncode}: {done.stderr}")


def news(stage: Stage, load: Load) -> str:
    """Sign in through the proxy, listen, and see an alert arrive while listening."""
    browser = _signed_in(stage)
    started = time.monotonic()
    with browser.open(f"{stage.url}/live", timeout=NEWS_S) as stream:
        expect(_event(stream), "hello", "the first event")
        hello_s = time.monotonic() - started
        load.report_worn()
        sent = time.monotonic()
        while _event(stream) != "alerts":
            if time.monotonic() - sent > NEWS_S:
                raise StepError("no news of the alert came")
    return f"first line after {hello_s:.1f} s, an alert {time.monotonic() - sent:.1f} s after its report"


def _event(stream: HTTPResponse) -> str:
    """Return the name of the next event; empty for a line that says nothing."""
    name = ""
    while True:
        line = stream.readline().decode()
        if not line:
            raise StepError("the stream ended")
        if line == "\n":
            return name
        if line.startswith("event: "):
            name = line.removeprefix("event: ").strip()


def _signed_in(stage: Stage) -> urllib.request.OpenerDirector:
    password = stage.folder / "password"
    password.write_text(secrets.token_urlsafe())
    words = ["--role", "technician", "--password-file", str(password)]
    stage.collector("user", "add", "mira", *words)
    link = stage.collector("user", "sign-in-link", "mira")
    browser = urllib.request.build_opener(
        urllib.request.HTTPSHandler(context=stage.trust()),
        urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()),
    )
    with browser.open(link, timeout=30) as page:
        text = page.read().decode()
    fields = dict(re.findall(r'name="(form_token|token)" value="([^"]+)"', text))
    form = urllib.parse.urlencode(fields).encode()
    with browser.open(f"{stage.url}/sign-in/once", form, timeout=30) as page:
        expect(page.url, f"{stage.url}/", "where signing in leads")
    return browser


def request_id(stage: Stage) -> str:
    """Find an answer's number in its body and in a collector's log."""
    status, found, body = ask(stage, "GET", "/api/v1/alerts")
    expect(status, 401, "an answer without a token")
    number = found["X-Request-Id"]
    expect(json.loads(body)["request_id"], number, "the number in the body")
    # The line is written once the answer is on its way.
    wait_until(lambda: bool(_lines(stage, number)), "the request's log line")
    lines = _lines(stage, number)
    expect([line["request_id"] for line in lines], [number], "lines of the log")
    return str(lines[0]["message"])


def _lines(stage: Stage, number: str) -> list[dict[str, str]]:
    return [
        json.loads(line)
        for log in (stage.log(0), stage.log(1))
        for line in log.read_text().splitlines()
        if number in line and line.endswith("}")
    ]


def metrics(stage: Stage) -> str:
    """Ask both collectors; what the store tells is the same from both."""
    told = [_samples(stage.ports[4 + number]) for number in (0, 1)]
    for found in told:
        expect(found["fadewatch_database_answers"], "1.0", "the database")
        expect(found["fadewatch_intake_waiting_reports"], "0.0", "the intake's queue")
    stored = [
        float(found['fadewatch_reports_total{outcome="stored"}']) for found in told
    ]
    expect(all(stored), True, "both stored reports")
    return f"{stored[0]:.0f} and {stored[1]:.0f} reports since they started"


def _samples(port: int) -> dict[str, str]:
    with urllib.request.urlopen(f"http://{HOST}:{port}/metrics", timeout=30) as answer:
        lines = answer.read().decode().splitlines()
    return dict(line.rsplit(" ", 1) for line in lines if not line.startswith("#"))


def backup(stage: Stage) -> str:
    """Back up while both serve, restore into an empty database, compare the tables."""
    file = stage.folder / "backup"
    stage.collector("database", "backup", "--out", str(file))
    where = ["-h", str(stage.folder / "pg"), "-U", "fadewatch"]
    stage.postgres("createdb", *where, "restored")
    stage.collector("database", "restore", str(file), database="restored")
    stage.collector("database", "check", database="restored")
    for number in (0, 1):
        stage.stop_collector(number)
    names = psql(
        stage,
        "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1",
    )
    rows = 0
    for name in names:
        # The names are the database's own.
        query = f'SELECT count(*), md5({EVERY_ROW}) FROM "{name}" AS t'  # noqa: S608
        before, after = psql(stage, query), psql(stage, query, "restored")
        if name not in CHANGES_MEANWHILE:
            expect(after, before, f"the rows of {name}")
        rows += int(after[0].split("|")[0])
    out = [stage.folder / "one.csv", stage.folder / "two.csv"]
    stage.collector("export", "fleet", "--out", str(out[0]))
    stage.collector("export", "fleet", "--out", str(out[1]), database="restored")
    expect(out[1].read_bytes(), out[0].read_bytes(), "the fleet CSV")
    return f"{len(names)} tables, {rows} rows, the fleet CSV byte for byte"


def sqlite(stage: Stage) -> str:
    """Serve TLS from SQLite, back up meanwhile, restore into a fresh folder."""
    here, fresh = (stage.sqlite_environment(name) for name in ("sqlite", "fresh"))
    stage.start_collector(0, here)
    _report_here(stage, here, here["FADEWATCH_PUBLIC_URL"], "agent-2")
    file = stage.folder / "backup.sqlite3"
    stage.run(here, "database", "backup", "--out", str(file))
    stage.stop_collector(0)
    stage.run(fresh, "database", "restore", str(file))
    stage.run(fresh, "database", "check")
    fleets = []
    for environment in (here, fresh):
        out = stage.folder / "fleet.csv"
        stage.run(environment, "export", "fleet", "--out", str(out))
        fleets.append(out.read_bytes())
    expect(fleets[1], fleets[0], "the fleet CSV")
    rows = fleets[0].count(b"\r\n") - 1
    expect(rows, 1, "laptops in the fleet CSV")
    return "the fleet CSV byte for byte"


EVERY_ROW = "string_agg(t::text, ';' ORDER BY t::text)"

CHANGES_MEANWHILE = frozenset({"store_values", "fleet_figures", "assessment_queue"})
"""What the clock may write between the backup and the end of the service."""
