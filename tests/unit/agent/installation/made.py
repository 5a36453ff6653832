"""What the tests of an installation ask for."""

from pathlib import PurePath

from fadewatch_agent.configuration import Settings
from fadewatch_agent.installation.program import Program
from fadewatch_agent.installation.systemd import RUNNING
from fadewatch_agent.installation.wishes import Wishes
from fadewatch_agent.places import Places, places_of
from tests.fakes.host import FakeHost

WORD = "fwt_word-for-the-lab"
COLLECTOR = "https://fade.example"
PROGRAM = Program(("/usr/bin/python3", "-I", "-S", "/usr/local/lib/fadewatch-agent"))


def wanted(
    collector: str = COLLECTOR,
    token: str | None = WORD,
    ca: bytes | None = None,
    minutes: int = 360,
) -> Wishes:
    return Wishes(Settings(collector=collector, every_minutes=minutes), token, ca)


def host(
    platform: str = "linux", *, is_running: bool = True, has_rights: bool = True
) -> tuple[FakeHost, Places]:
    """Return a machine on which the agent was never set up, and its places."""
    made = FakeHost(platform, is_running, has_rights)
    made.folders.add(RUNNING)
    return made, places_of(platform, {})


def seen(host: FakeHost) -> dict[PurePath, tuple[bytes, int]]:
    """Return all that stands on a machine, to compare with another moment."""
    return {place: (host.files[place], host.modes[place]) for place in host.files}
