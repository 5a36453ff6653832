"""The files for administrators agree with the program and with each other."""

import re
from pathlib import Path

import pytest

from fadewatch_collector.settings import Settings
from fadewatch_collector.web.live import PAUSE_S
from fadewatch_collector.web.upload import PACKED_BYTES
from fadewatch_common.report import MAX_BODY_BYTES

DEPLOY = Path(__file__).parents[2] / "deploy"
SERVICE = DEPLOY / "service"
NGINX = (SERVICE / "nginx" / "fadewatch.conf").read_text()
FORWARD = (SERVICE / "nginx" / "forward.conf").read_text()
UNITS = sorted((SERVICE / "systemd").glob("*.service"))
PAGE = (DEPLOY / "operating.md").read_text()


@pytest.mark.parametrize(
    "file",
    [
        *SERVICE.rglob("*.service"),
        *SERVICE.rglob("*.env"),
        *SERVICE.rglob("*.yaml"),
        SERVICE / "compose" / "Dockerfile",
        DEPLOY / "operating.md",
    ],
    ids=lambda file: file.name,
)
def test_every_setting_that_is_named_is_one(file: Path) -> None:
    named = set(re.findall(r"\bFADEWATCH_([A-Z_]+)\b", file.read_text()))

    assert named - {name.upper() for name in Settings.model_fields} <= {"VENV"}


def test_nginx_takes_the_largest_body_that_the_collector_takes() -> None:
    found = re.search(r"client_max_body_size +([0-9]+)m;", NGINX)

    assert found is not None
    assert int(found[1]) * 1024 * 1024 >= max(MAX_BODY_BYTES, PACKED_BYTES)


def test_nginx_waits_longer_for_news_than_the_collector_is_silent() -> None:
    found = re.search(
        r"location = /live \{[^}]*proxy_read_timeout ([0-9]+)s", NGINX, re.DOTALL
    )

    assert found is not None
    assert float(found[1]) > 2 * PAUSE_S


def test_nginx_sets_every_header_anew_that_the_collector_believes() -> None:
    for name in ("X-Forwarded-For", "X-Forwarded-Proto", "X-Forwarded-Host"):
        (value,) = re.findall(rf"proxy_set_header {name} +(\S+);", FORWARD)
        # $proxy_add_x_forwarded_for would pass on what the client wrote.
        assert value in {"$remote_addr", "$scheme", "$http_host"}
    # A header set in a location would take the place of all of these.
    assert "proxy_set_header" not in NGINX


def test_the_unit_for_several_differs_in_its_ports_and_folders_only() -> None:
    one, several = (
        (SERVICE / "systemd" / f"fadewatch-collector{at}.service")
        .read_text()
        .splitlines()
        for at in ("", "@")
    )

    different = {line.split("=")[0] for line in set(one) ^ set(several)}
    comment = "# Collector 0 listens on 8470 and tells its metrics on 8480, "
    assert {name for name in different if not name.startswith(comment)} == {
        "Description",
        "Environment",
        "StateDirectory",
    }


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_a_unit_gives_away_as_little_as_the_others(unit: Path) -> None:
    text = unit.read_text()

    for line in (
        "User=fadewatch",
        "NoNewPrivileges=yes",
        "CapabilityBoundingSet=",
        "ProtectSystem=strict",
        "ProtectHome=yes",
        "PrivateDevices=yes",
        "UMask=0077",
        "SystemCallFilter=@system-service",
    ):
        assert line in text.splitlines()


def test_the_page_names_files_that_are_there() -> None:
    for name in set(re.findall(r"\bdeploy/[\w@./*-]+[\w*]", PAGE)):
        assert list(DEPLOY.parent.glob(name)), name
