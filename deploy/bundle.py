"""Build every bundle of the agent by one command.

    python3 deploy/bundle.py [--out DIR] [--windows-python FILE.zip] [--mac-python PATH]

Writes into ``dist`` (or DIR): a single file that Python runs, a Debian package where
dpkg-deb is at hand, the layout of a macOS package, a folder for Windows when the
administrator provides the Python to carry, and SHA256SUMS over all of it. The same
sources give the same bytes. Needs Python 3.11 and nothing else.
"""

import argparse
import shutil
import sys
from pathlib import Path

_REPOSITORY = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(_REPOSITORY / name) for name in ("agent", "common")]

from bundling import debian, macos, single_file, sums, windows  # noqa: E402
from bundling.sources import program_files  # noqa: E402

from fadewatch_common import __version__  # noqa: E402


def main() -> int:
    """Build and return the exit code."""
    chosen = _options().parse_args()
    out: Path = chosen.out
    out.mkdir(parents=True, exist_ok=True)
    files = program_files(_REPOSITORY)
    built = [single_file.build(files, out)]
    if shutil.which("dpkg-deb"):
        built.append(debian.build(files, __version__, chosen.maintainer, out))
    else:
        print("no Debian package: dpkg-deb is not here", file=sys.stderr)
    built.append(macos.build(files, __version__, chosen.mac_python, out))
    if chosen.windows_python is not None:
        built.append(windows.build(files, chosen.windows_python, out))
    built.append(sums.write_sums(out))
    print("".join(f"{path}\n" for path in built), end="")
    return 0


def _options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=_REPOSITORY / "dist")
    parser.add_argument(
        "--maintainer",
        default="Fadewatch administrators <root@localhost>",
        help="who answers for the Debian package",
    )
    parser.add_argument(
        "--windows-python",
        type=Path,
        help="archive of the embeddable Python for Windows, 3.11 or newer",
    )
    parser.add_argument(
        "--mac-python",
        default="/usr/local/bin/python3",
        help="where Macs of yours have Python 3.11 or newer",
    )
    return parser


if __name__ == "__main__":
    sys.exit(main())
