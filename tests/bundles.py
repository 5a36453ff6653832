"""The agent's bundles, built as an administrator builds them."""

import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).parents[1]
SINGLE_FILE = "fadewatch-agent.pyz"


def build_bundles(folder: Path, *options: str | Path) -> Path:
    """Build every bundle into a folder and return the folder."""
    subprocess.run(
        [
            sys.executable,
            "-B",
            REPOSITORY / "deploy/bundle.py",
            "--out",
            folder,
            *options,
        ],
        capture_output=True,
        check=True,
    )
    return folder
