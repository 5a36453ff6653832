"""The machine itself, where an installation reads and runs."""

import os
import signal
from pathlib import Path, PurePosixPath

from fadewatch_agent.installation.host import ThisHost


def test_a_folder_and_a_missing_file_have_no_bytes(tmp_path: Path) -> None:
    (tmp_path / "state").mkdir()
    (tmp_path / "token").write_bytes(b"word")
    image = ThisHost(tmp_path)

    assert image.read(PurePosixPath("/state")) is None
    assert image.read(PurePosixPath("/token/below")) is None
    assert image.read(PurePosixPath("/nothing")) is None
    assert image.read(PurePosixPath("/token")) == b"word"


def test_what_a_program_leaves_running_does_not_hold_the_installation() -> None:
    # It keeps the program's output open, as a service that was started would.
    ran = ThisHost().run(["/bin/sh", "-c", "sleep 50 & echo $!"])

    assert ran.status == 0
    # Still there, so nothing waited for it.
    os.kill(int(ran.said), signal.SIGTERM)


def test_a_program_that_is_missing_says_so() -> None:
    ran = ThisHost().run(["/nowhere/scheduler", "/Create"])

    assert (ran.status, ran.said) == (127, "/nowhere/scheduler is not on this machine")
