"""The laptops that the tests and the recordings share: each bay is one situation."""

from tests.kernel.machine import Drive, Laptop
from tests.kernel.packs import Bay, Pack
from tests.kernel.smbios import Model

HEALTHY = Pack()
IN_MAH = Pack(
    unit="mAh",
    design=5_000,
    full=4_100,
    remaining=3_900,
    cycles=412,
    rate=1_250,
    voltage=12_480,
    state="charging",
    maker="Vossel Cells",
    model="VC50",
    serial=" 0912",
    chemistry="LION",
)
UNKNOWN_DESIGN = Pack(design=None, serial="00102")
ALL_UNKNOWN = Pack(
    design=None, full=None, remaining=None, cycles=None, rate=None, voltage=None
)
HELD_AT_LIMIT = Pack(state="idle", rate=0, remaining=43_472, serial="00104")
WORN = Pack(full=29_640, remaining=21_000, cycles=890, serial="00031")
WITHOUT_CYCLES = Pack(full=31_000, remaining=30_100, serial="00105")
FULL_ABOVE_DESIGN = Pack(
    full=60_420, remaining=60_420, rate=0, cycles=2, state="idle", serial="00106"
)
ODD_STRINGS = Pack(
    maker="Zéta Énergie", model="  ZE\t57  ", serial="№ 7", chemistry="?"
)
BLANK_STRINGS = Pack(maker="", model=" ", serial="", chemistry="", full=28_500)

# In the order of the bays: BAT0, BAT1, ...
BAYS = {
    "healthy": Bay((HEALTHY,)),
    "in-mah": Bay((IN_MAH,)),
    "unknown-design": Bay((UNKNOWN_DESIGN,)),
    "all-unknown": Bay((ALL_UNKNOWN,)),
    "held-at-limit": Bay((HELD_AT_LIMIT,)),
    "without-cycles": Bay((WITHOUT_CYCLES,), extended=False),
    "full-above-design": Bay((FULL_ABOVE_DESIGN,)),
    "odd-strings": Bay((ODD_STRINGS,)),
    "blank-strings": Bay((BLANK_STRINGS,)),
    "empty-bay": Bay((HEALTHY,), fitted=0),
}

NVME = Drive(name="nvme0n1", serial="NV-0001", size_bytes=512_110_190_592)
DISK = Drive(
    name="sda",
    model="Brackwater 1000",
    serial="BW-0002",
    size_bytes=1_000_204_886_016,
    rotations_per_minute=5400,
)
SSD = Drive(
    name="sda", model="Larkspur S240", serial="LS-0003", size_bytes=240_057_409_536
)

EVERY_SITUATION = Laptop(
    bays=tuple(BAYS.values()),
    model=Model(packs=(HEALTHY,)),
    drives=(NVME, DISK),
)
WITHOUT_PACK = Laptop(drives=(SSD,))


def slot_of(situation: str) -> str:
    """Return the kernel's name for the bay of a situation."""
    return f"BAT{list(BAYS).index(situation)}"
