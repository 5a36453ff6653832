"""Debian's packages for the guest, fetched through the machine's own apt-get."""

import re
import subprocess
import tarfile
from collections.abc import Collection, Sequence
from pathlib import Path

# Python with the modules that the agent imports, and what these are linked with.
PYTHON_PACKAGES = (
    "python3.11-minimal",
    "libpython3.11-minimal",
    "libpython3.11-stdlib",
    "libbz2-1.0",
    "libc6",
    "libexpat1",
    "libffi8",
    "liblzma5",
    "libsqlite3-0",
    "libssl3",
    "libuuid1",
    "zlib1g",
)
SHELL_PACKAGE = "busybox-static"
_KERNEL_PACKAGE = "linux-image-amd64"


class KernelTestsUnavailableError(Exception):
    """This machine cannot run a guest; the message is the reason, in one line."""


def kernel_package() -> str:
    """Return the package that Debian's kernel package stands for."""
    shown = _run(["apt-cache", "depends", _KERNEL_PACKAGE])
    named = re.search(r"Depends: (linux-image-\S+)", shown)
    if named is None:
        raise KernelTestsUnavailableError(f"apt-get knows no {_KERNEL_PACKAGE}")
    return named[1]


def fetch(names: Sequence[str], folder: Path) -> dict[str, Path]:
    """Download packages into a folder and return the file of each."""
    sandbox = ["-o", "APT::Sandbox::User=root"]
    _run(["apt-get", "--quiet", *sandbox, "download", *names], folder)
    return {name: next(folder.glob(f"{name}_*.deb")) for name in names}


def unpack(package: Path, folder: Path) -> None:
    """Unpack a package into a folder."""
    _run(["dpkg-deb", "--extract", str(package), str(folder)])


def files_of(package: Path, wanted: Collection[str]) -> dict[str, bytes]:
    """Return some files of a package, by their path in it."""
    command = ["dpkg-deb", "--fsys-tarfile", str(package)]
    found = {}
    with (
        subprocess.Popen(command, stdout=subprocess.PIPE) as unpacker,
        tarfile.open(fileobj=unpacker.stdout, mode="r|") as archive,
    ):
        for member in archive:
            path = member.name.removeprefix("./")
            content = archive.extractfile(member) if path in wanted else None
            if content is not None:
                found[path] = content.read()
    if missing := sorted(set(wanted) - found.keys()):
        raise KernelTestsUnavailableError(f"{package.name} lacks {missing[0]}")
    return found


def _run(command: Sequence[str], folder: Path | None = None) -> str:
    try:
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True, check=True
        )
    except FileNotFoundError as error:
        raise KernelTestsUnavailableError(f"{command[0]} is missing") from error
    except subprocess.CalledProcessError as error:
        complaint = (error.stderr.strip().splitlines() or ["no reason given"])[-1]
        raise KernelTestsUnavailableError(f"{command[0]}: {complaint}") from error
    return done.stdout
