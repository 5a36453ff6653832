"""The guest's kernel and base file system, built once and kept in a cache."""

import hashlib
import lzma
import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from tests.kernel import archive, packages
from tests.kernel.packages import KernelTestsUnavailableError

# Of the xz file format, 2.1.1.1; the kernel's own unpacker stands before it.
_XZ_MAGIC = b"\xfd7zXZ\0"
_PROGRAMS = {"qemu-system-x86_64": "qemu-system-x86", "iasl": "acpica-tools"}

# Modules in the order in which they load, by their path in the kernel's tree.
POWER_MODULES = ("drivers/acpi/ac", "drivers/acpi/battery")
NETWORK_MODULES = (
    "drivers/virtio/virtio_ring",
    "drivers/virtio/virtio",
    "drivers/virtio/virtio_pci_legacy_dev",
    "drivers/virtio/virtio_pci_modern_dev",
    "drivers/virtio/virtio_pci",
    "net/core/failover",
    "drivers/net/net_failover",
    "drivers/net/virtio_net",
)
DRIVE_MODULES = (
    "crypto/crct10dif_common",
    "crypto/crct10dif_generic",
    "lib/crc-t10dif",
    "lib/crc64",
    "crypto/crc64_rocksoft_generic",
    "lib/crc64-rocksoft",
    "block/t10-pi",
    "drivers/nvme/host/nvme-core",
    "drivers/nvme/host/nvme",
    "drivers/scsi/scsi_common",
    "drivers/scsi/scsi_mod",
    "drivers/scsi/sd_mod",
    "drivers/ata/libata",
    "drivers/ata/libahci",
    "drivers/ata/ahci",
)

_PYTHON = PurePosixPath("usr/lib/python3.11")
_LIBRARIES = (
    PurePosixPath("lib/x86_64-linux-gnu"),
    PurePosixPath("usr/lib/x86_64-linux-gnu"),
)
_LEFT_OUT = frozenset(
    [
        PurePosixPath("etc"),
        PurePosixPath("usr/share"),
        PurePosixPath("usr/lib/x86_64-linux-gnu/gconv"),
        *(_PYTHON / name for name in ("ensurepip", "lib2to3", "pydoc_data", "curses")),
        *(_PYTHON / name for name in ("distutils", "wsgiref", "dbm")),
        _PYTHON / "config-3.11-x86_64-linux-gnu",
    ]
)
_SETTINGS_FILES = {
    "etc/passwd": "root:x:0:0:root:/root:/bin/sh\n"
    "agent:x:1000:1000::/home/agent:/bin/sh\n",
    "etc/group": "root:x:0:\nagent:x:1000:\n",
    "etc/hosts": "127.0.0.1 localhost\n",
}


@dataclass(frozen=True, slots=True)
class Image:
    """What QEMU boots: kernel, base file system, and busybox for this machine."""

    kernel: Path
    base: Path
    busybox: Path


def ready_image() -> Image:
    """Return the image, building it first unless this version is in the cache.

    Raises
    ------
    KernelTestsUnavailableError
        If a program is missing or Debian's packages cannot be had.
    """
    for program, package in _PROGRAMS.items():
        if shutil.which(program) is None:
            raise KernelTestsUnavailableError(
                f"{program} is missing (Debian: {package})"
            )
    cache = cache_folder()
    final = cache / _version()
    if not final.exists():
        cache.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=cache) as work:
            _put_in_place(_build(Path(work)), final)
    return Image(final / "vmlinux", final / "base.cpio", final / "busybox")


def cache_folder() -> Path:
    """Return where built images are kept."""
    chosen = os.environ.get("FADEWATCH_KERNEL_CACHE")
    if chosen:
        return Path(chosen)
    general = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(general) / "fadewatch-kernel"


def _version() -> str:
    """Name the image by all that decides about its contents but the packages."""
    sources = (__file__, archive.__file__, packages.__file__)
    together = b"".join(Path(source).read_bytes() for source in sources)
    return hashlib.sha256(together).hexdigest()[:16]


def _put_in_place(built: Path, final: Path) -> None:
    try:
        built.rename(final)
    except OSError:
        # Another run may have been quicker; its image is as good.
        if not final.exists():
            raise


def _build(work: Path) -> Path:
    kernel = packages.kernel_package()
    names = (kernel, packages.SHELL_PACKAGE, *packages.PYTHON_PACKAGES)
    files = packages.fetch(names, work)
    done, root = work / "image", work / "root"
    done.mkdir()
    for name in names[1:]:
        packages.unpack(files[name], root)
    shutil.copy(root / "bin/busybox", done / "busybox")
    _compile_python(root)
    program, modules = _kernel(files[kernel], kernel.removeprefix("linux-image-"))
    (done / "vmlinux").write_bytes(program)
    (done / "base.cpio").write_bytes(_base(root, modules))
    return done


def _kernel(package: Path, release: str) -> tuple[bytes, dict[str, bytes]]:
    """Return the kernel's program and its modules by name.

    QEMU can start the program inside the compressed image, which spares the guest
    most of its boot: unpacking it there is slow.
    """
    image, tree = f"boot/vmlinuz-{release}", f"lib/modules/{release}/kernel"
    wanted = (*POWER_MODULES, *NETWORK_MODULES, *DRIVE_MODULES)
    places = {f"{tree}/{module}.ko": PurePosixPath(module).name for module in wanted}
    contents = packages.files_of(package, [image, *places])
    packed = contents.pop(image)
    start = packed.find(_XZ_MAGIC)
    if start < 0:
        raise KernelTestsUnavailableError(f"{package.name} is not packed with xz")
    program = lzma.LZMADecompressor().decompress(packed[start:])
    return program, {places[path]: module for path, module in contents.items()}


def _compile_python(root: Path) -> None:
    """Compile the library beside its sources, by the guest's own interpreter."""
    libraries = ":".join(str(root / path) for path in _LIBRARIES)
    loader = root / _LIBRARIES[0] / "ld-linux-x86-64.so.2"
    python = [
        str(loader),
        "--library-path",
        libraries,
        str(root / "usr/bin/python3.11"),
    ]
    compiling = ["-S", "-E", "-m", "compileall", "-q", "-b", "-s", str(root)]
    subprocess.run(
        [*python, *compiling, str(root / _PYTHON)],
        env={"PYTHONHOME": str(root / "usr")},
        check=True,
        capture_output=True,
    )


def _base(root: Path, modules: Mapping[str, bytes]) -> bytes:
    base = archive.Archive()
    for folder in ("proc", "sys", "dev", "run", "tmp", "root", "lab", "home/agent"):
        base.add_folder(folder)
    base.add_device("dev/console", 0o600, (5, 1))
    base.add_device("dev/null", 0o666, (1, 3))
    base.add_tree(root, "", lambda path: _is_wanted(path, root))
    base.add_link("usr/bin/python3", "python3.11")
    listed = subprocess.run(
        [root / "bin/busybox", "--list"], capture_output=True, text=True, check=True
    )
    for applet in set(listed.stdout.split()) - {"busybox"}:
        base.add_link(f"bin/{applet}", "busybox")
    for name, module in modules.items():
        base.add_file(f"modules/{name}.ko", module)
    for path, content in _SETTINGS_FILES.items():
        base.add_file(path, content.encode())
    return base.finished()


def _is_wanted(path: PurePosixPath, root: Path) -> bool:
    """Refuse what the guest never reads, sources that are compiled among it."""
    if path in _LEFT_OUT or path.name == "__pycache__":
        return False
    return not (path.suffix == ".py" and (root / path).with_suffix(".pyc").exists())
