"""Trying it out: every step of try.sh with the real commands, verified."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.timeout(240)
def test_every_step_of_trying_it_out_does_what_it_should(tmp_path: Path) -> None:
    done = subprocess.run(
        [
            sys.executable,
            ROOT / "deploy" / "try_out.py",
            "--folder",
            tmp_path,
            "--check",
        ],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stdout + done.stderr
    assert "Every step did what it should." in done.stdout
    assert list(tmp_path.iterdir()) == []
