"""Bundles: built twice, checked, and run without this checkout."""

import hashlib
import plistlib
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from fadewatch_common import __version__
from tests.bundles import SINGLE_FILE, build_bundles

LARGEST_BYTES = 250_000

needs_dpkg = pytest.mark.skipif(
    shutil.which("dpkg-deb") is None, reason="dpkg-deb is not here"
)


@pytest.fixture(scope="module")
def python_archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Stand for the archive of Python that an administrator provides."""
    archive = tmp_path_factory.mktemp("python") / "python-embed.zip"
    with zipfile.ZipFile(archive, "w") as packed:
        for name in ("python.exe", "python313.zip", "python313._pth"):
            packed.writestr(name, name)
    return archive


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory, python_archive: Path) -> Path:
    folder = tmp_path_factory.mktemp("bundles") / "dist"
    return build_bundles(folder, "--windows-python", python_archive)


def run(file: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-I", "-S", file, *words],
        capture_output=True,
        text=True,
        check=False,
        cwd="/",
    )


def contents(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {
        str(file.relative_to(folder)): (file.read_bytes(), file.stat().st_mode)
        for file in folder.rglob("*")
        if file.is_file()
    }


def test_the_same_sources_give_the_same_bytes(
    built: Path, tmp_path: Path, python_archive: Path
) -> None:
    again = build_bundles(tmp_path / "dist", "--windows-python", python_archive)

    assert contents(again) == contents(built)


def test_a_second_build_into_the_same_folder_leaves_nothing_old(
    tmp_path: Path, python_archive: Path
) -> None:
    folder = tmp_path / "dist"
    build_bundles(folder, "--windows-python", python_archive)
    before = contents(folder)
    (folder / "windows/old.txt").write_text("old")

    build_bundles(folder, "--windows-python", python_archive)

    assert contents(folder) == before


def test_the_checksum_file_names_every_file_with_its_digest(built: Path) -> None:
    lines = (built / "SHA256SUMS").read_text().splitlines()

    assert sorted(lines) == sorted(
        f"{hashlib.sha256(content).hexdigest()}  {name}"
        for name, (content, _) in contents(built).items()
        if name != "SHA256SUMS"
    )


def test_the_single_file_is_small(built: Path) -> None:
    assert (built / SINGLE_FILE).stat().st_size < LARGEST_BYTES


def test_the_single_file_needs_the_standard_library_alone(built: Path) -> None:
    done = run(built / SINGLE_FILE, "--version")

    assert (done.returncode, done.stdout) == (0, f"{__version__}\n")


def test_the_single_file_reads_this_machine(built: Path) -> None:
    done = run(built / SINGLE_FILE, "read", "--json")

    assert done.returncode in (0, 3), done.stderr
    assert f'"version": "{__version__}"' in done.stdout


def test_a_bundle_verifies_itself(built: Path) -> None:
    done = run(built / SINGLE_FILE, "verify")

    assert done.returncode == 0, done.stderr
    with zipfile.ZipFile(built / SINGLE_FILE) as archive:
        manifest = archive.read("fadewatch-agent.manifest")
    assert hashlib.sha256(manifest).hexdigest() in done.stdout


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ("fadewatch_agent/spool.py", "spool.py is not what was built"),
        ("fadewatch_agent/another.py", "another.py was added"),
    ],
)
def test_a_changed_bundle_says_which_file(
    built: Path, tmp_path: Path, change: str, complaint: str
) -> None:
    with zipfile.ZipFile(built / SINGLE_FILE) as archive:
        archive.extractall(tmp_path)
    with (tmp_path / change).open("a") as file:
        file.write("\n# changed\n")

    done = run(tmp_path, "verify")

    assert done.returncode == 7
    assert complaint in done.stderr


def test_a_bundle_with_a_file_missing_says_so(built: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(built / SINGLE_FILE) as archive:
        archive.extractall(tmp_path)
    (tmp_path / "fadewatch_agent/py.typed").unlink()

    done = run(tmp_path, "verify")

    assert done.returncode == 7
    assert "fadewatch_agent/py.typed is missing" in done.stderr


def test_an_agent_installed_by_pip_has_no_manifest() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "fadewatch_agent", "verify"],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 1
    assert "installed as a Python package" in done.stderr


@needs_dpkg
def test_the_package_holds_program_command_units_and_no_settings(built: Path) -> None:
    package = built / f"fadewatch-agent_{__version__}_all.deb"
    listed = subprocess.run(
        ["dpkg-deb", "--contents", package], capture_output=True, text=True, check=True
    ).stdout

    rows = [line.split() for line in listed.splitlines()]
    assert {row[1] for row in rows} == {"root/root"}
    rights = {row[5]: row[0] for row in rows}
    assert rights["./usr/bin/fadewatch-agent"] == "-rwxr-xr-x"
    assert rights["./usr/lib/systemd/system/fadewatch-agent.service"] == "-rw-r--r--"
    assert "./usr/lib/fadewatch-agent/fadewatch_agent/cli.py" in rights
    assert [name for name in rights if name.startswith("./etc/fadewatch/")] == [
        "./etc/fadewatch/"
    ]


@needs_dpkg
@pytest.mark.parametrize("script", ["postinst", "prerm", "postrm"])
def test_the_packages_scripts_are_sound_shell(
    built: Path, tmp_path: Path, script: str
) -> None:
    package = built / f"fadewatch-agent_{__version__}_all.deb"
    subprocess.run(["dpkg-deb", "--control", package, tmp_path], check=True)

    subprocess.run(["sh", "-n", tmp_path / script], check=True)


def test_the_macs_layout_has_the_job_that_starts_the_program(built: Path) -> None:
    root = built / "macos/root"
    job = root / "Library/LaunchDaemons/local.fadewatch.agent.plist"
    words = plistlib.loads(job.read_bytes())["ProgramArguments"]

    assert words[0] == "/usr/local/bin/python3"
    assert (root / words[3].lstrip("/") / "__main__.py").is_file()
    assert (built / "macos/scripts/postinstall").stat().st_mode & 0o111
    assert (built / "macos/build.sh").stat().st_mode & 0o111


def test_the_windows_folder_carries_the_python_that_was_provided(built: Path) -> None:
    folder = built / "windows"

    assert (folder / "python/python.exe").is_file()
    assert (folder / "fadewatch_agent/cli.py").is_file()
    assert rb"python\python.exe" in (folder / "set-up.cmd").read_bytes()
    assert b"\r\n" in (folder / "set-up.cmd").read_bytes()


@pytest.mark.parametrize("content", [b"no archive", None])
def test_an_archive_that_holds_no_python_is_refused(
    tmp_path: Path, content: bytes | None
) -> None:
    archive = tmp_path / "python.zip"
    if content is None:
        with zipfile.ZipFile(archive, "w") as packed:
            packed.writestr("readme.txt", "nothing")
    else:
        archive.write_bytes(content)

    with pytest.raises(subprocess.CalledProcessError) as raised:
        build_bundles(tmp_path / "dist", "--windows-python", archive)

    assert b"python.zip" in raised.value.stderr
