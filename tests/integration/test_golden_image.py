"""A thousand laptops made from one image, which all start in the same minute."""

import sqlite3
import sys
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from fadewatch_agent.client import Client
from fadewatch_agent.configuration import Settings, load_settings
from fadewatch_agent.enrolment import Enrolment, enrol, kept_enrolment
from fadewatch_agent.installation.host import ThisHost
from fadewatch_agent.installation.program import Program
from fadewatch_agent.installation.setup import install
from fadewatch_agent.installation.systemd import OWN_UNITS
from fadewatch_agent.installation.traces import image_problems
from fadewatch_agent.installation.wishes import Wishes
from fadewatch_agent.places import here
from fadewatch_common.report import Laptop
from tests.processes import CollectorProcess, new_collector
from tests.reports import make_report

MANY = 1000
AT_ONCE = 32

pytestmark = pytest.mark.timeout(240)


def of_its_own(number: int) -> Laptop:
    return Laptop(
        hostname="golden",
        maker="Alderney Systems",
        model="Quill 14",
        serial=f"AQ14-{number:05}",
        board_uuid=f"6f0c1d6e-8a55-4b0e-9d7e-{number:012x}",
    )


def nameless(number: int) -> Laptop:
    """Return a laptop whose firmware tells it from no other."""
    assert number >= 0
    return Laptop(
        hostname="golden",
        maker="To be filled by O.E.M.",
        model="To be filled by O.E.M.",
        serial="To be filled by O.E.M.",
        board_uuid="03000200-0400-0500-0006-000700080009",
    )


def golden_image(folder: Path, collector: CollectorProcess) -> Settings:
    """Prepare an image for a collector and return the settings that are in it."""
    root = folder / "image"
    root.mkdir()
    host, places = ThisHost(root, "linux"), here("linux")
    words = ("--label", "autumn", "--uses", str(MANY))
    token = collector.command("token", "new", *words)
    wanted = Wishes(Settings(collector=collector.url), token, None)
    program = Program(
        ("/usr/bin/python3", "-I", "-S", "/usr/local/lib/fadewatch-agent")
    )
    install(host, places, program, wanted, image=True)
    service = OWN_UNITS / "fadewatch-agent.service"
    assert image_problems(host, places, service) == []
    return load_settings(root / "etc/fadewatch/agent.toml", {})


def first_start(settings: Settings, laptop: Laptop, state: Path) -> Enrolment:
    """Let one laptop enrol as its agent does."""
    state.mkdir()
    own = settings._replace(state=state)
    client = Client(settings.collector or "", None)
    return enrol(own, client, replace(make_report(), laptop=laptop))


@pytest.mark.skipif(sys.platform != "linux", reason="an image for systemd")
@pytest.mark.parametrize(("make", "count"), [(of_its_own, MANY), (nameless, 200)])
def test_as_many_laptops_of_one_image_are_as_many_laptops(
    tmp_path: Path, make: Callable[[int], Laptop], count: int
) -> None:
    collector = new_collector(tmp_path)
    settings = golden_image(tmp_path, collector)
    (tmp_path / "states").mkdir()

    def start(number: int) -> Enrolment:
        return first_start(settings, make(number), tmp_path / f"states/{number}")

    with collector.running(), ThreadPoolExecutor(AT_ONCE) as laptops:
        enrolled = list(laptops.map(start, range(count)))

    assert len({one.laptop_id for one in enrolled}) == count
    assert len({one.key for one in enrolled}) == count
    for number in (0, count - 1):
        assert kept_enrolment(tmp_path / f"states/{number}") == enrolled[number]
    with closing(sqlite3.connect(collector.store)) as connection:
        serials = Counter(connection.execute("SELECT serial FROM laptops"))
        valid = connection.execute(
            "SELECT count(DISTINCT laptop_id) FROM agent_keys WHERE revoked_at IS NULL"
        ).fetchone()
        uses = connection.execute("SELECT uses FROM enrolment_tokens").fetchone()
    assert serials.total() == count
    assert valid == uses == (count,)
