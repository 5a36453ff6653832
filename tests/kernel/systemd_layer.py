"""systemd and dpkg for the guest, laid over its base file system and cached."""

import hashlib
import tempfile
from pathlib import Path, PurePosixPath

from tests.kernel import archive, packages
from tests.kernel.image import cache_folder

_PACKAGES = (
    "dpkg",
    "systemd",
    "tar",
    "libacl1",
    "libapparmor1",
    "libargon2-1",
    "libaudit1",
    "libblkid1",
    "libcap-ng0",
    "libcap2",
    "libcrypt1",
    "libcryptsetup12",
    "libdevmapper1.02.1",
    "libfdisk1",
    "libgcrypt20",
    "libgpg-error0",
    "libip4tc2",
    "libjson-c5",
    "libkmod2",
    "liblz4-1",
    "libmd0",
    "libmount1",
    "libp11-kit0",
    "libpam0g",
    "libpcre2-8-0",
    "libseccomp2",
    "libselinux1",
    "libsmartcols1",
    "libsystemd-shared",
    "libsystemd0",
    "libudev1",
    "libzstd1",
)
_LEFT_OUT = frozenset(map(PurePosixPath, ("usr/share", "usr/include", "etc/init.d")))

# What dpkg must know of: the one package that ours depends on.
_STATUS = """\
Package: python3
Status: install ok installed
Maintainer: nobody
Architecture: amd64
Version: 3.11.2-1+b1
Description: in the guest's base file system

"""
_FILES = {
    "etc/machine-id": "0123456789abcdef0123456789abcdef\n",
    "etc/hostname": "ridgeway-0417\n",
    "var/lib/dpkg/status": _STATUS,
    "var/lib/dpkg/available": "",
    "var/lib/dpkg/info/format": "1\n",
    "lib/systemd/system/lab.service": """\
[Unit]
After=basic.target
DefaultDependencies=no

[Service]
ExecStart=/lab/run
""",
    "lib/systemd/system/lab.target": """\
[Unit]
Requires=basic.target
Wants=lab.service timers.target paths.target
AllowIsolate=yes
""",
}


def ready_layer() -> Path:
    """Return the layer's archive, building it first unless it is in the cache.

    Raises
    ------
    KernelTestsUnavailableError
        If Debian's packages cannot be had.
    """
    sources = (__file__, archive.__file__, packages.__file__)
    together = b"".join(Path(source).read_bytes() for source in sources)
    folder = cache_folder()
    final = folder / f"systemd-{hashlib.sha256(together).hexdigest()[:16]}.cpio"
    if not final.exists():
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder) as work:
            built = Path(work) / "layer"
            built.write_bytes(_build(Path(work)))
            built.rename(final)
    return final


def _build(work: Path) -> bytes:
    root = work / "root"
    fetched = packages.fetch(_PACKAGES, work)
    for name in _PACKAGES:
        packages.unpack(fetched[name], root)
    layer = archive.Archive()
    layer.add_tree(root, "", lambda path: path not in _LEFT_OUT)
    for folder in ("var/lib/dpkg/updates", "var/lib/dpkg/triggers", "var/log", "run"):
        layer.add_folder(folder)
    for path, content in _FILES.items():
        layer.add_file(path, content.encode())
    return layer.finished()
