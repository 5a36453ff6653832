"""The agent as a Debian package, by dpkg-deb alone."""

import os
import subprocess
import tempfile
from pathlib import Path, PurePosixPath

from bundling.sources import Files, write, write_all
from fadewatch_agent.installation import systemd
from fadewatch_agent.installation.program import PACKAGED, starter
from fadewatch_agent.periods import DEFAULT, minutes_of

_COMMAND = ("/usr/bin/python3", "-I", "-S", str(PACKAGED))
_SETTINGS = PurePosixPath("/etc/fadewatch")
_EPOCH = 1767225600
"""Time of every file in the package, 2026-01-01: the same bytes on each day [s]."""

_CONTROL = """\
Package: fadewatch-agent
Version: {version}
Architecture: all
Maintainer: {maintainer}
Depends: python3 (>= 3.11)
Recommends: systemd (>= 247)
Section: admin
Priority: optional
Installed-Size: {kib}
Description: reads a laptop's battery packs and reports them
 Reads packs, memory and drives a few times a day and delivers the readings to a
 collector of your own. Does nothing until /etc/fadewatch/agent.toml names one.
"""

_UNITS = "fadewatch-agent.timer fadewatch-agent-first.timer fadewatch-agent.path"

_AFTER_INSTALLATION = f"""\
#!/bin/sh
set -e
[ "$1" = configure ] || exit 0
python3 -I -S -m compileall -q {PACKAGED}
# At the first installation alone: who has switched the timer off keeps it off.
if [ -z "$2" ] && command -v systemctl > /dev/null; then
    systemctl --quiet enable {_UNITS}
fi
if [ -d /run/systemd/system ]; then
    systemctl daemon-reload
    for unit in {_UNITS}; do
        if systemctl --quiet is-enabled "$unit"; then systemctl restart "$unit"; fi
    done
fi
"""

_BEFORE_REMOVAL = f"""\
#!/bin/sh
set -e
if [ "$1" = remove ]; then
    if [ -d /run/systemd/system ]; then
        systemctl stop {_UNITS} fadewatch-agent.service
    fi
    if command -v systemctl > /dev/null; then systemctl --quiet disable {_UNITS}; fi
fi
find {PACKAGED} -depth -name __pycache__ -exec rm -rf '{{}}' +
"""

_AFTER_REMOVAL = f"""\
#!/bin/sh
set -e
if [ "$1" = purge ]; then
    # Key, queue and token go; a removal without purge keeps them.
    rm -rf /var/lib/private/fadewatch-agent /var/lib/fadewatch-agent
    rm -f {systemd.STAMP}
    rm -f {_SETTINGS}/agent.toml {_SETTINGS}/token {_SETTINGS}/ca.pem
    rmdir --ignore-fail-on-non-empty {_SETTINGS} 2> /dev/null || true
fi
if [ -d /run/systemd/system ]; then systemctl daemon-reload; fi
"""


def build(files: Files, version: str, maintainer: str, out: Path) -> Path:
    """Write the package and return its path."""
    path = out / f"fadewatch-agent_{version}_all.deb"
    with tempfile.TemporaryDirectory() as work:
        root = Path(work) / "root"
        root.mkdir(mode=0o755)
        root.chmod(0o755)
        _lay_out(files, root)
        kib = sum(f.stat().st_size for f in root.rglob("*") if f.is_file()) // 1024
        control = _CONTROL.format(version=version, maintainer=maintainer, kib=kib)
        write(root / "DEBIAN/control", control.encode())
        for name, script in (
            ("postinst", _AFTER_INSTALLATION),
            ("prerm", _BEFORE_REMOVAL),
            ("postrm", _AFTER_REMOVAL),
        ):
            write(root / "DEBIAN" / name, script.encode(), 0o755)
        _pack(root, path)
    path.chmod(0o644)
    return path


def _lay_out(files: Files, root: Path) -> None:
    write_all(files, root / str(PACKAGED).lstrip("/"))
    write(root / "usr/bin/fadewatch-agent", starter(_COMMAND), 0o755)
    (root / "etc/fadewatch").mkdir(parents=True)
    units = systemd.units(
        systemd.quoted(*_COMMAND),
        _SETTINGS / "agent.toml",
        _SETTINGS / "token",
        minutes_of(DEFAULT),
    )
    for name, text in units.items():
        write(root / "usr/lib/systemd/system" / name, text.encode())


def _pack(root: Path, path: Path) -> None:
    for item in (root, *root.rglob("*")):
        if item.is_dir():
            item.chmod(0o755)
        os.utime(item, (_EPOCH, _EPOCH))
    subprocess.run(
        [  # noqa: S607  whatever dpkg-deb this machine has
            "dpkg-deb",
            "--root-owner-group",
            "-Zxz",
            "--build",
            str(root),
            str(path),
        ],
        env=os.environ | {"SOURCE_DATE_EPOCH": str(_EPOCH)},
        stdout=subprocess.DEVNULL,
        check=True,
    )
