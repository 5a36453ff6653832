"""A folder for Windows that carries its own Python.

The Python is the embeddable package for Windows, an archive that the administrator
provides; nothing is fetched.
"""

import shutil
import zipfile
from pathlib import Path

from bundling.sources import Files, write, write_all

_SET_UP = """\
@echo off
rem Sets the agent up; settings may stand beside this file, in agent.toml.
"%~dp0python\\python.exe" -I -S "%~dp0." install %*
exit /b %ERRORLEVEL%
"""

_TAKE_AWAY = """\
@echo off
rem Takes the agent away: timer, settings, key, queue and program.
"%~dp0python\\python.exe" -I -S "%~dp0." uninstall %*
exit /b %ERRORLEVEL%
"""

_NOT_A_PYTHON = (
    "{}: this is not the embeddable Python for Windows (python.exe and a library "
    "python3xx.zip at its top)"
)


def build(files: Files, python: Path, out: Path) -> Path:
    """Write the folder anew and return its path.

    Raises
    ------
    SystemExit
        The archive is none, or not of such a Python.
    """
    folder = out / "windows"
    shutil.rmtree(folder, ignore_errors=True)
    _unpack(python, folder / "python")
    write_all(files, folder)
    for name, text in (("set-up.cmd", _SET_UP), ("take-away.cmd", _TAKE_AWAY)):
        write(folder / name, text.replace("\n", "\r\n").encode())
    return folder


def _unpack(python: Path, folder: Path) -> None:
    try:
        with zipfile.ZipFile(python) as archive:
            names = set(archive.namelist())
            library = any(n.startswith("python3") and n.endswith(".zip") for n in names)
            if "python.exe" not in names or not library:
                raise SystemExit(_NOT_A_PYTHON.format(python))
            archive.extractall(folder)
    except (OSError, zipfile.BadZipFile) as error:
        raise SystemExit(f"{python} cannot be unpacked: {error}") from error
