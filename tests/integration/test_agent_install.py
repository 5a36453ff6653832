"""Setting an image up with the single file, as an imaging script does."""

import os
import stat
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.bundles import SINGLE_FILE, build_bundles
from tests.fakes.certificates import make_certificates
from tests.fakes.collector_server import CollectorServer, collector_server
from tests.unit.agent.laptops import HEALTHY, empty_tree, supply

WORD = "fwt_word-for-the-lab"
COLLECTOR = "--collector=https://fade.example"


@pytest.fixture(scope="module")
def single_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_bundles(tmp_path_factory.mktemp("bundles")) / SINGLE_FILE


@dataclass(frozen=True)
class Image:
    """A mounted image and the single file beside it."""

    root: Path
    program: Path

    def run(
        self, *words: str | Path, given: str = "", descriptor: int | None = None
    ) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, self.program, *words],
            input=given,
            capture_output=True,
            text=True,
            check=False,
            pass_fds=() if descriptor is None else (descriptor,),
        )

    def install(self, *words: str | Path, given: str = WORD) -> None:
        destination = f"--destination={self.root}"
        done = self.run(
            "install", destination, "--token-file=-", "--image", *words, given=given
        )
        assert (done.returncode, done.stdout, done.stderr) == (0, "", "")

    def check(self) -> subprocess.CompletedProcess[str]:
        return self.run("check-image", f"--destination={self.root}")

    def files(self) -> dict[str, tuple[bytes, int]]:
        return {
            str(file.relative_to(self.root)): (file.read_bytes(), file.stat().st_mode)
            for file in self.root.rglob("*")
            if file.is_file() and not file.is_symlink()
        }


@pytest.fixture
def image(tmp_path: Path, single_file: Path) -> Image:
    root = tmp_path / "image"
    (root / "usr/bin").mkdir(parents=True)
    (root / "usr/bin/python3").symlink_to("python3.12")
    program = tmp_path / "carried" / SINGLE_FILE
    program.parent.mkdir()
    program.write_bytes(single_file.read_bytes())
    return Image(root, program)


def test_one_command_prepares_an_image_that_is_proved_clean(image: Image) -> None:
    image.install(COLLECTOR)

    checked = image.check()
    assert (checked.returncode, checked.stderr) == (0, "")
    token = image.root / "etc/fadewatch/token"
    assert token.read_text() == f"{WORD}\n"
    assert stat.S_IMODE(token.stat().st_mode) == 0o600
    wants = image.root / "etc/systemd/system/timers.target.wants"
    assert {link.name for link in wants.iterdir()} == {
        "fadewatch-agent.timer",
        "fadewatch-agent-first.timer",
    }


def test_the_image_runs_the_agent_with_its_own_python(image: Image) -> None:
    image.install(COLLECTOR)

    service = image.root / "etc/systemd/system/fadewatch-agent.service"
    started = "/usr/bin/python3 -I -S /usr/local/lib/fadewatch-agent report"
    assert f"ExecStart={started} " in service.read_text()
    assert (image.root / "usr/local/lib/fadewatch-agent/__main__.py").is_file()


def test_a_second_time_changes_nothing(image: Image) -> None:
    image.install(COLLECTOR)
    before = image.files()

    image.install(COLLECTOR)

    assert image.files() == before


def test_a_dropped_file_is_all_that_it_takes(image: Image) -> None:
    dropped = image.program.with_name("agent.toml")
    dropped.write_text(f'collector = "https://fade.example"\ntoken = "{WORD}"\n')

    done = image.run("install", f"--destination={image.root}", "--image")

    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert image.check().returncode == 0


def test_a_token_comes_through_a_descriptor(image: Image) -> None:
    reading, writing = os.pipe()
    os.write(writing, WORD.encode())
    os.close(writing)

    done = image.run(
        "install",
        f"--destination={image.root}",
        COLLECTOR,
        f"--token-descriptor={reading}",
        descriptor=reading,
    )

    os.close(reading)
    assert done.returncode == 0, done.stderr
    assert (image.root / "etc/fadewatch/token").read_text() == f"{WORD}\n"


def test_certificates_and_proxy_are_taken_over(image: Image, tmp_path: Path) -> None:
    make_certificates(tmp_path)
    ca = tmp_path / "ca.pem"

    image.install(COLLECTOR, f"--ca={ca}", "--proxy=http://proxy.example:3128")

    assert (image.root / "etc/fadewatch/ca.pem").read_bytes() == ca.read_bytes()
    settings = (image.root / "etc/fadewatch/agent.toml").read_text()
    assert 'ca = "/etc/fadewatch/ca.pem"\n' in settings
    assert 'proxy = "http://proxy.example:3128"\n' in settings

    # Said once, it stays said.
    image.install(COLLECTOR)
    assert (image.root / "etc/fadewatch/agent.toml").read_text() == settings


@pytest.mark.parametrize("folder", ["var/lib/fadewatch-agent", "var/lib/private"])
def test_an_agent_that_has_run_is_found_out_and_cleaned_up(
    image: Image, folder: str
) -> None:
    state = image.root / folder
    state = state if folder.endswith("agent") else state / "fadewatch-agent"
    tree = supply(empty_tree(image.root.parent / "tree"), "BAT0", HEALTHY).parents[3]
    image.install(COLLECTOR)
    with collector_server() as collector:
        assert report(image, tree, state, collector).returncode == 0

    checked = image.check()
    assert checked.returncode == 7
    for name in ("enrolment.json", "spool.sqlite", "state.json"):
        assert f"{name} is there" in checked.stderr

    image.install(COLLECTOR)
    assert image.check().returncode == 0


def report(
    image: Image, tree: Path, state: Path, collector: CollectorServer
) -> subprocess.CompletedProcess[str]:
    state.parent.mkdir(parents=True, exist_ok=True)
    token = image.root / "etc/fadewatch/token"
    options = (f"--root={tree}", f"--state={state}", f"--token-file={token}")
    return image.run("report", f"--collector={collector.url}", *options)


def test_taking_it_away_leaves_the_image_as_it_was(image: Image) -> None:
    before = image.files()
    image.install(COLLECTOR)

    done = image.run("uninstall", f"--destination={image.root}")

    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert image.files() == before


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["install"], 5, "no collector is named"),
        (["install", COLLECTOR], 5, "there is no token"),
        (["install", COLLECTOR, "--every=7h"], 5, "must be one of 15m"),
        (["install", COLLECTOR, "--token-file=/nowhere"], 5, "cannot be read"),
        (["install", COLLECTOR, "--token-descriptor=x"], 5, "needs a number"),
        (["install", COLLECTOR, "--token=word"], 2, "no option"),
        (["check-image"], 7, "is missing"),
        (["check-image", "--destination=/nowhere"], 5, "not a folder"),
    ],
)
def test_exit_codes_are_honest(
    image: Image, words: list[str], code: int, message: str
) -> None:
    destination = [f"--destination={image.root}"]
    where = [] if any("destination" in word for word in words) else destination

    done = image.run(*words, *where)

    assert done.returncode == code
    assert message in done.stderr
    assert image.files() == {}
