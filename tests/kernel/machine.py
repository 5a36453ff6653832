"""Boots the guest, runs one command in it and brings back what it said."""

import io
import shlex
import subprocess
import tarfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Literal

from tests.kernel import bay as page
from tests.kernel import firmware, smbios
from tests.kernel.archive import Archive
from tests.kernel.image import DRIVE_MODULES, NETWORK_MODULES, POWER_MODULES, Image
from tests.kernel.packs import Bay
from tests.kernel.systemd_layer import ready_layer

# Where the guest finds the collector: a relay on its own loopback.
COLLECTOR_PORT = 8470
COLLECTOR_URL = f"http://127.0.0.1:{COLLECTOR_PORT}"
# QEMU's network for one guest; this address of it leads to this machine's loopback.
_RELAY_ADDRESS = "10.0.2.100"
_HERE = Path(__file__).parent
_BOOT_SECONDS = 40
_SYSTEMD_BOOT_SECONDS = 160


class GuestError(Exception):
    """The guest gave no result."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """A drive that holds nothing, of any size. An NVMe drive's model is QEMU's own."""

    name: Literal["nvme0n1", "sda"]
    serial: str
    size_bytes: int
    model: str = "QEMU NVMe Ctrl"
    rotations_per_minute: int = 1  # 1 = does not rotate, as in the ATA command set


@dataclass(frozen=True, slots=True, kw_only=True)
class Laptop:
    """The machine that boots. By default it has no pack, as a server has none.

    It has at most one drive of each kind, because the kernel gives the letters of
    several in the order in which they happen to answer.
    """

    bays: tuple[Bay, ...] = ()
    mains_online: bool = True
    model: smbios.Model = field(default_factory=smbios.Model)
    drives: tuple[Drive, ...] = ()
    hostname: str = "ridgeway-0417"
    memory_mib: int = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What to do in the guest.

    Parameters
    ----------
    command
        Shell text.
    files
        Files and folders to put into the guest, by their place in it.
    account
        Who runs the command.
    timeline
        Shell text that root runs beside the command, from its start.
    collector_port
        The port of this machine's loopback that `COLLECTOR_URL` leads to. Without
        one the guest has no network.
    seconds
        How long the command may take.
    system
        What runs the guest: a few lines of shell, or systemd with dpkg beside it.
    """

    command: str
    files: Mapping[str, Path] = field(default_factory=dict)
    account: Literal["root", "agent"] = "root"
    timeline: str = ""
    collector_port: int | None = None
    seconds: int = 60
    system: Literal["shell", "systemd"] = "shell"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the command said; a `status` of 137 is one that ran out of time."""

    status: int
    stdout: bytes
    stderr: str


def run(image: Image, laptop: Laptop, job: Job, folder: Path) -> Outcome:
    """Boot a laptop, do a job on it and switch it off.

    Raises
    ------
    GuestError
        If the guest ended, or did not, without a result.
    """
    boot = _BOOT_SECONDS if job.system == "shell" else _SYSTEMD_BOOT_SECONDS
    initial, result = folder / "initrd", folder / "result.tar"
    layer = ready_layer().read_bytes() if job.system == "systemd" else b""
    initial.write_bytes(image.base.read_bytes() + layer + _overlay(laptop, job))
    command = [
        *_machine_options(laptop, folder),
        *_network_options(image, job),
        *("-kernel", str(image.kernel), "-initrd", str(initial)),
        *("-append", _kernel_settings()),
        *("-serial", f"file:{folder / 'console'}", "-serial", f"file:{result}"),
    ]
    try:
        ended = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=boot + job.seconds,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise GuestError(_last_words(folder, "it did not end")) from error
    if ended.returncode != 0 or not result.stat().st_size:
        raise GuestError(_last_words(folder, ended.stderr.decode()))
    return _outcome(result)


def _machine_options(laptop: Laptop, folder: Path) -> list[str]:
    (folder / "page").write_bytes(
        firmware.initial_page(laptop.bays, mains_online=laptop.mains_online)
    )
    table = firmware.compiled_table(laptop.bays, folder)
    loaded = f"loader,file={folder / 'page'},addr=0x{page.PAGE_ADDRESS:x}"
    return [
        *("qemu-system-x86_64", "-nodefaults", "-no-user-config", "-no-reboot"),
        *("-display", "none", "-machine", "pc,usb=off,smm=off,vmport=off,graphics=off"),
        *("-accel", "tcg,thread=single,tb-size=256", "-cpu", "max,la57=off"),
        *("-smp", "1", "-m", str(laptop.memory_mib)),
        *("-acpitable", f"file={table}"),
        *("-device", f"{loaded},force-raw=on"),
        *smbios.qemu_options(laptop.model, folder),
        *_drive_options(laptop),
    ]


def _drive_options(laptop: Laptop) -> list[str]:
    options = ["-device", "ich9-ahci,id=sata"] if laptop.drives else []
    for drive in laptop.drives:
        node = f"node-{drive.name}"
        told = f"drive={node},serial={drive.serial}"
        device = f"nvme,{told}"
        if drive.name == "sda":
            turning = f"rotation_rate={drive.rotations_per_minute}"
            device = f"ide-hd,bus=sata.0,model={drive.model},{turning},{told}"
        content = f"null-co,node-name={node},size={drive.size_bytes},read-zeroes=on"
        options += ["-blockdev", content, "-device", device]
    return options


def _network_options(image: Image, job: Job) -> list[str]:
    if job.collector_port is None:
        return []
    # A relay is started for each connection. Its complaints would go into the
    # connection, hence the shell. QEMU wants commas doubled.
    relay = f"exec {shlex.quote(str(image.busybox))} nc 127.0.0.1 {job.collector_port}"
    command = shlex.join(["sh", "-c", f"{relay} 2>/dev/null"]).replace(",", ",,")
    forward = f"guestfwd=tcp:{_RELAY_ADDRESS}:{COLLECTOR_PORT}-cmd:{command}"
    return [
        *("-netdev", f"user,id=net0,restrict=on,{forward}"),
        *("-device", "virtio-net-pci,netdev=net0,romfile="),
    ]


def _kernel_settings() -> str:
    return " ".join(
        [
            "console=ttyS0 quiet rdinit=/init panic=-1",
            # The page of the bays must stay out of the kernel's use and image.
            f"nokaslr memmap=64K$0x{page.PAGE_ADDRESS:x}",
            # What an emulated processor spends its time on or stumbles over.
            "no_timer_check tsc=reliable mitigations=off nopti no5lvl",
            "random.trust_cpu=on cryptomgr.notests rcupdate.rcu_expedited=1",
        ]
    )


def _overlay(laptop: Laptop, job: Job) -> bytes:
    """Return the archive of what differs from boot to boot."""
    settings = {
        "HOSTNAME": laptop.hostname,
        "MODULES": " ".join(_modules(laptop, job)),
        "DRIVES": " ".join(drive.name for drive in laptop.drives),
        "RELAYED_PORT": "" if job.collector_port is None else str(COLLECTOR_PORT),
        "ACCOUNT": job.account,
        "SECONDS_ALLOWED": str(job.seconds),
    }
    lines = [f"{name}={shlex.quote(value)}\n" for name, value in settings.items()]
    overlay = Archive()
    overlay.add_file("lab/settings", "".join(lines).encode())
    overlay.add_file("lab/command", job.command.encode() + b"\n")
    if job.timeline:
        overlay.add_file("lab/timeline", job.timeline.encode() + b"\n")
    first = "init" if job.system == "shell" else "init-systemd"
    overlay.add_file("init", (_HERE / "guest" / first).read_bytes(), 0o755)
    overlay.add_file("lab/run", (_HERE / "guest/run").read_bytes(), 0o755)
    command = b"#!/usr/bin/python3 -S\n" + (_HERE / "bay.py").read_bytes()
    overlay.add_file("usr/bin/bay", command, 0o755)
    for place, source in job.files.items():
        if source.is_dir():
            overlay.add_tree(source, place, _is_source)
        else:
            overlay.add_file(place, source.read_bytes(), 0o755)
    return overlay.finished()


def _modules(laptop: Laptop, job: Job) -> list[str]:
    network = NETWORK_MODULES if job.collector_port is not None else ()
    drives = DRIVE_MODULES if laptop.drives else ()
    wanted = (*POWER_MODULES, *network, *drives)
    return [PurePosixPath(module).name for module in wanted]


def _is_source(path: PurePosixPath) -> bool:
    return path.name != "__pycache__"


def _outcome(result: Path) -> Outcome:
    with tarfile.open(result) as archive:
        said = {
            member.name.removeprefix("./"): _content(archive, member)
            for member in archive
        }
    return Outcome(
        status=int(said["status"]),
        stdout=said["stdout"],
        stderr=said["stderr"].decode(errors="replace"),
    )


def _content(archive: tarfile.TarFile, member: tarfile.TarInfo) -> bytes:
    content = archive.extractfile(member) or io.BytesIO()
    return content.read()


def _last_words(folder: Path, reason: str) -> str:
    console = folder / "console"
    shown = console.read_text(errors="replace") if console.exists() else ""
    return f"the guest gave no result: {reason}\n{shown[-3000:]}"
