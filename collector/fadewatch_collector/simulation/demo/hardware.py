"""The demo fleet's laptops: every maker, model, serial and place is invented."""

from dataclasses import dataclass, replace

import numpy as np

from fadewatch_collector.simulation.demo.stories import LaptopStory, Situation
from fadewatch_common.report import Drive, DriveKind, Laptop, Memory, MemorySlot

_MAKERS = {"Sedge": "Quillmere", "Fescue": "Tarnvale", "Burdock": "Venniford"}
_SITES = (
    ("Harbour Road", "HR"),
    ("Mill Lane", "ML"),
    ("North Annexe", "NA"),
    ("Depot", "DP"),
)
_SHARED_SERIAL = "TVF13-200417"
_SERIAL_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"
_UUID_BITS = 32  # bits drawn at a time


@dataclass(frozen=True, slots=True)
class Place:
    """Where a laptop is and who has it; imported, never collected."""

    asset_tag: str
    holder: str | None
    site: str


@dataclass(frozen=True, slots=True)
class Hardware:
    """What a laptop says of itself at one time."""

    laptop: Laptop
    memory: Memory
    drives: tuple[Drive, ...]


def place_of(rng: np.random.Generator, number: int) -> Place:
    """Give laptop `number` its place: most have a holder, some are pool or spare."""
    site, code = _SITES[(number * 7 + number // 9) % len(_SITES)]
    kind = rng.random()
    person = int(rng.integers(101, 390))
    holder: str | None = f"staff {person}"
    if kind > 0.94:  # noqa: PLR2004
        holder = None
    elif kind > 0.75:  # noqa: PLR2004
        holder = f"pool {person % 12 + 1}"
    return Place(f"{code}-{2000 + number * 3}", holder, site)


def hardware_of(
    rng: np.random.Generator, number: int, story: LaptopStory, place: Place
) -> Hardware:
    """Give a laptop its identity, memory and drive."""
    family = story.model.split()[0]
    maker = _MAKERS[family]
    letters = "".join(rng.choice(list(_SERIAL_LETTERS), 3))
    serial = f"{maker[0]}{letters}{rng.integers(10**6, 10**7)}"
    laptop = Laptop(
        hostname=f"{place.asset_tag.lower()}",
        maker=maker,
        model=story.model,
        serial=_SHARED_SERIAL if story.shares_serial else serial,
        board_uuid=_board_uuid(rng),
        chassis="notebook",
    )
    return Hardware(laptop, _memory(rng, number), (_drive(rng, number),))


def after_change(
    rng: np.random.Generator, story: LaptopStory, now: Hardware
) -> Hardware:
    """Give what the laptop says of itself after its change of hardware."""
    if story.situation is Situation.MEMORY_CHANGED:
        kept, taken = now.memory.slots
        empty = MemorySlot(locator=taken.locator, size_mib=0)
        memory = Memory(total_mib=kept.size_mib, slots=(kept, empty))
        return replace(now, memory=memory)
    if story.situation is Situation.DRIVE_CHANGED:
        return replace(now, drives=(_drive(rng, 2),))
    return now


def _board_uuid(rng: np.random.Generator) -> str:
    words = rng.integers(0, 2**_UUID_BITS, 4)
    text = "".join(f"{int(word):08x}" for word in words)
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


def _memory(rng: np.random.Generator, number: int) -> Memory:
    size = (8192, 4096, 16384)[number % 3]
    part = f"MW4-{size // 1024}G-{rng.integers(10, 99)}"
    slots = tuple(
        MemorySlot(
            locator=f"DIMM {side}",
            size_mib=size,
            kind="DDR4",
            speed_mts=3200,
            maker="Marlowind",
            part=part,
            soldered=False,
        )
        for side in ("A", "B")
    )
    return Memory(total_mib=2 * size, slots=slots)


def _drive(rng: np.random.Generator, number: int) -> Drive:
    kind: DriveKind = "ssd" if number % 5 == 0 else "nvme"
    gigabytes = (256, 512, 1000)[number % 3]
    return Drive(
        name="sda" if kind == "ssd" else "nvme0n1",
        model=f"Sablefin {gigabytes}",
        serial=f"SBF{rng.integers(10**8, 10**9)}",
        size_bytes=gigabytes * 10**9,
        kind=kind,
    )
