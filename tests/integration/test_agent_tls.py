"""Delivery over TLS, with a certificate authority of the organisation's own."""

import ssl
from pathlib import Path

import pytest

from fadewatch_agent import cli
from tests.fakes.certificates import make_certificates, server_context
from tests.fakes.collector_server import CollectorServer, collector_server
from tests.unit.agent.laptops import HEALTHY, empty_tree, supply


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("certificates")
    make_certificates(folder)
    return folder


@pytest.fixture
def context(certificates: Path) -> ssl.SSLContext:
    return server_context(certificates)


def report(folder: Path, collector: CollectorServer, *more: str) -> int:
    tree = folder / "tree"
    if not tree.exists():
        supply(empty_tree(tree), "BAT0", HEALTHY)
        (folder / "token").write_text("word-for-the-lab")
    words = [
        f"--root={tree}",
        f"--state={folder / 'state'}",
        f"--token-file={folder / 'token'}",
        f"--collector={collector.url}",
        "--patience=0",
    ]
    return cli.main(["report", *words, *more])


def test_the_organisations_own_authority_is_trusted_when_named(
    tmp_path: Path, certificates: Path, context: ssl.SSLContext
) -> None:
    with collector_server(context) as collector:
        assert report(tmp_path, collector, f"--ca={certificates / 'ca.pem'}") == 0
        assert len(collector.heard_ids()) == 1


def test_without_it_the_collector_is_not_trusted_and_hears_no_token(
    tmp_path: Path,
    context: ssl.SSLContext,
    capsys: pytest.CaptureFixture[str],
) -> None:
    with collector_server(context) as collector:
        assert report(tmp_path, collector) == cli.QUEUED
        assert collector.heard == []
    assert "certificate verify failed" in capsys.readouterr().err


def test_a_certificate_for_another_name_is_not_trusted(
    tmp_path: Path,
    certificates: Path,
    context: ssl.SSLContext,
    capsys: pytest.CaptureFixture[str],
) -> None:
    with collector_server(context) as collector:
        collector.url = collector.url.replace("127.0.0.1", "localhost")

        code = report(tmp_path, collector, f"--ca={certificates / 'ca.pem'}")

        assert code == cli.QUEUED
        assert collector.heard == []
    assert "Hostname mismatch" in capsys.readouterr().err


def test_a_file_without_certificates_is_a_wrong_setting(
    tmp_path: Path, context: ssl.SSLContext
) -> None:
    (tmp_path / "empty.pem").write_text("nothing")
    with collector_server(context) as collector:
        code = report(tmp_path, collector, f"--ca={tmp_path / 'empty.pem'}")

    assert code == cli.NOT_CONFIGURED
