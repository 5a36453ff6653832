"""What a test says about the laptop, and the SMBIOS tables made of it.

Layouts: DMTF DSP0134. QEMU builds types 0, 1, 2, 4, 16 and 17 from settings; it has
no setting for the type of the chassis and none for a pack, so types 3 and 22 are
built here.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tests.kernel.packs import Pack

_NOTEBOOK = 10
_CHEMISTRIES = {"LION": 6, "LiP": 8}


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """A laptop as its firmware describes it. The contents are invented."""

    maker: str = "Tarnholm"
    name: str = "Ridgeway 14"
    serial: str = "TH4X9Q7K"
    uuid: str = "6f1d3a52-8a3e-4f0a-9c11-aabbccddeeff"
    asset_tag: str = "IT-004711"
    chassis: int = _NOTEBOOK
    memory_maker: str = "Orrin Memory"
    memory_part: str = "OM8-3200"
    memory_speed: int = 3200
    packs: tuple[Pack, ...] = ()
    packs_made_on: date = date(2023, 11, 2)


def qemu_options(model: Model, folder: Path) -> list[str]:
    """Return QEMU's options for the tables; structures go into files in `folder`."""
    system = f"manufacturer={model.maker},product={model.name},version=2"
    memory = f"manufacturer={model.memory_maker},part={model.memory_part}"
    settings = [
        "type=0,vendor=Tarnholm,version=1.42,date=03/14/2025,release=1.42",
        f"type=1,{system},serial={model.serial},uuid={model.uuid},sku=TH14",
        f"type=2,manufacturer={model.maker},product=RW14-MB,version=2,serial=MB-0001",
        f"type=4,manufacturer={model.maker},version=Invented processor,sock_pfx=U",
        f"type=17,loc_pfx=SLOT,bank=BANK 0,{memory},speed={model.memory_speed}",
    ]
    for number, structure in enumerate(_structures(model)):
        path = folder / f"smbios{number}.bin"
        path.write_bytes(structure)
        settings.append(f"file={path}")
    return [word for setting in settings for word in ("-smbios", setting)]


def _structures(model: Model) -> Iterator[bytes]:
    yield chassis_structure(model)
    for number, pack in enumerate(model.packs):
        yield pack_structure(pack, model.packs_made_on, handle=0x1600 + number)


def chassis_structure(model: Model) -> bytes:
    """Return type 3, system enclosure, in its 21 bytes of version 2.3."""
    maker, version, serial, asset_tag = 1, 2, 3, 4
    fields = struct.pack(
        "<BBHBBBBB4BIBBBB",
        *(3, 21, 0x0300),
        *(maker, model.chassis, version, serial, asset_tag),
        *(3, 3, 3, 3),  # boot-up, supply and thermal state safe, no security
        *(0, 0, 1, 0, 0),
    )
    return fields + _strings(model.maker, "2", model.serial, model.asset_tag)


def pack_structure(pack: Pack, made_on: date, handle: int) -> bytes:
    """Return type 22, portable battery: a pack as fitted at the boot."""
    location, maker, made, serial, name, version, chemistry = range(1, 8)
    multiplier = 10  # the field has 16 bits: 65 Wh without one
    design = 0 if pack.design is None else pack.design // multiplier
    packed_date = made_on.day + 32 * made_on.month + 512 * (made_on.year - 1980)
    fields = struct.pack(
        "<BBHBBBBBBHHBBHHBBI",
        *(22, 26, handle, location, maker, made, serial, name),
        _CHEMISTRIES.get(pack.chemistry, 2),
        *(design, pack.design_voltage or 0, version, 2),
        *(_as_number(pack.serial), packed_date, chemistry, multiplier, 0),
    )
    made_text = made_on.strftime("%m/%d/%Y")
    words = ("Front", pack.maker, made_text, pack.serial, pack.model, "03.01")
    return fields + _strings(*words, pack.chemistry)


def _as_number(serial: str) -> int:
    return int(serial) % 0x1_0000 if serial.isdecimal() else 0


def _strings(*words: str) -> bytes:
    return b"".join(word.encode() + b"\0" for word in words) + b"\0"
