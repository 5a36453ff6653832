"""Saved trees of /sys and /proc, built file by file."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from fadewatch_agent.readers.files import SystemFiles
from fadewatch_agent.reading import Moment

MOMENT = Moment(datetime(2026, 3, 14, 9, 26, 53, 589793, tzinfo=UTC), 7)

HEALTHY = {
    "status": "Discharging",
    "present": "1",
    "technology": "Li-ion",
    "cycle_count": "212",
    "voltage_min_design": "11400000",
    "voltage_now": "11873000",
    "power_now": "9120000",
    "energy_full_design": "57000000",
    "energy_full": "49020000",
    "energy_now": "41200000",
    "capacity": "84",
    "model_name": "QM57-3S",
    "manufacturer": "Quellmar",
    "serial_number": "00417",
}
"""What the kernel shows of an ACPI pack that counts in mWh; wear is 14.0 %."""


def without(*names: str, **changed: str) -> dict[str, str]:
    """Return the healthy pack's attributes, some left out, some changed."""
    kept = {name: value for name, value in HEALTHY.items() if name not in names}
    return kept | changed


def supply(
    root: Path,
    name: str,
    attributes: Mapping[str, str],
    *,
    kind: str = "Battery",
    single_files_only: bool = False,
) -> Path:
    """Write one power supply and return its folder."""
    folder = root / "sys/class/power_supply" / name
    folder.mkdir(parents=True, exist_ok=True)
    lines = {"name": name, "type": kind, **attributes}
    text = "".join(f"POWER_SUPPLY_{n.upper()}={v}\n" for n, v in lines.items())
    content = "" if single_files_only else text
    (folder / "uevent").write_text(content, encoding="utf-8", errors="surrogateescape")
    for attribute, value in {"type": kind, **attributes}.items():
        (folder / attribute).write_text(
            value + "\n", encoding="utf-8", errors="surrogateescape"
        )
    return folder


def block_device(root: Path, name: str, files: Mapping[str, str | bytes]) -> Path:
    """Write one block device and return its folder."""
    folder = root / "sys/block" / name
    for path, content in ({"size": "1000"} | dict(files)).items():
        file = folder / path
        file.parent.mkdir(parents=True, exist_ok=True)
        raw = content if isinstance(content, bytes) else f"{content}\n".encode()
        file.write_bytes(raw)
    return folder


def empty_tree(root: Path) -> Path:
    """Write a tree in which every reader finds its folder and nothing in it."""
    for folder in ("sys/class/power_supply", "sys/block", "proc"):
        (root / folder).mkdir(parents=True)
    return root


def files_of(root: Path) -> SystemFiles:
    (root / "sys").mkdir(exist_ok=True)
    return SystemFiles(root)


@dataclass
class Pauses:
    """Stands for the wait between two looks; may change the tree meanwhile."""

    meanwhile: Callable[[int], None] = lambda _: None
    seconds: list[float] = field(default_factory=list)

    def __call__(self, seconds: float) -> None:
        self.seconds.append(seconds)
        self.meanwhile(len(self.seconds))
