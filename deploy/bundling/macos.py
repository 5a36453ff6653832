"""The layout of a macOS package; ``pkgbuild`` on a Mac makes the package of it."""

import shutil
from pathlib import Path

from bundling.sources import Files, write, write_all
from fadewatch_agent.installation import launchd
from fadewatch_agent.installation.program import COMMAND, starter
from fadewatch_agent.periods import DEFAULT, minutes_of
from fadewatch_agent.places import places_of

_AFTER = f"""\
#!/bin/sh
# Runs as root, by the installer. Settings may have been dropped before or come later.
set -e
launchctl bootout system/{launchd.LABEL} 2> /dev/null || true
# $3 is the volume: another one than this means an image, where nothing is started.
[ "$3" = / ] || exit 0
launchctl bootstrap system {launchd.FILE}
"""

_BUILD = """\
#!/bin/sh
# On a Mac: makes fadewatch-agent-{version}.pkg of this folder.
cd "$(dirname "$0")"
exec pkgbuild --root root --scripts scripts --ownership recommended \\
    --identifier {label} --version {version} fadewatch-agent-{version}.pkg
"""


def build(files: Files, version: str, python: str, out: Path) -> Path:
    """Write the folder anew and return its path."""
    folder = out / "macos"
    shutil.rmtree(folder, ignore_errors=True)
    program = places_of("darwin", {}).program
    command = (python, "-I", "-S", str(program))
    root = folder / "root"
    write_all(files, root / str(program).lstrip("/"))
    write(root / str(COMMAND).lstrip("/"), starter(command), 0o755)
    job = launchd.job(command, minutes_of(DEFAULT))
    write(root / str(launchd.FILE).lstrip("/"), job)
    write(folder / "scripts/postinstall", _AFTER.encode(), 0o755)
    text = _BUILD.format(version=version, label=launchd.LABEL)
    write(folder / "build.sh", text.encode(), 0o755)
    return folder
