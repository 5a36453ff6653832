"""The ACPI table: bays and packs as control-method batteries, and the mains.

Layout of the packages: ACPI 6.0, 10.2.2 (_BIF in table 10-273, _BIX in 10-274, _BST
in 10-276).
"""

import subprocess
from collections.abc import Sequence
from pathlib import Path

from tests.kernel import bay as page
from tests.kernel.packs import Bay, Pack

_UNKNOWN = 0xFFFF_FFFF
_UNITS = {"mWh": 0, "mAh": 1}
_STATES = {"idle": 0, "discharging": 1, "charging": 2, "critical": 4}
_RECHARGEABLE = 1
# Nothing reads these: a plausible accuracy of 95 %, in thousandths of a percent,
# sampling and averaging times in ms, and steps of 10.
_ACCURACY_AND_TIMES = "95000, 0xFFFFFFFF, 0xFFFFFFFF, 1000, 500"
_GRANULARITY = "10, 10"

# What an empty bay answers when asked all the same.
_NO_PACK = Pack(
    design=None,
    full=None,
    remaining=None,
    cycles=None,
    rate=None,
    voltage=None,
    state="idle",
    maker="",
    model="",
    serial="",
)

_TABLE = """\
DefinitionBlock ("", "SSDT", 2, "FADEWT", "PACKBAYS", 0x00000001)
{{
  Scope (\\_SB)
  {{
    OperationRegion (PAGE, SystemMemory, 0x{address:08X}, 0x{size:X})
    Field (PAGE, ByteAcc, NoLock, Preserve)
    {{
{fields}
    }}
    Name (SEEN, 0)
    Method (TELL, 0, Serialized)
    {{
      Local0 = GENR
      If (Local0 == SEEN) {{ Return }}
      SEEN = Local0
      Notify (ADP0, 0x80)
{announcements}
    }}
    Device (ADP0)
    {{
      Name (_HID, "ACPI0003")
      Name (_PCL, Package () {{ \\_SB }})
      Method (_PSR, 0, Serialized) {{ TELL () Return (MAIN) }}
    }}
{bays}
  }}
}}
"""
_BAY = """\
    Device (BAT{slot})
    {{
      Name (_HID, EisaId ("PNP0C0A"))
      Name (_UID, {slot})
      Name (_PCL, Package () {{ \\_SB }})
      Method (_STA, 0, NotSerialized)
      {{
        If (FIT{slot} == 0) {{ Return (0x0F) }}
        Return (0x1F)
      }}
{methods}
    }}
"""
# Through a variable, iasl lets a buffer pass where a text is due, as the kernel does.
_METHOD = """\
      Method ({name}, 0, Serialized)
      {{
        {before}
        Local0 = {empty}
{choices}
        Return (Local0)
      }}"""
_CHOICE = "        If (FIT{slot} == {number}) {{ Local0 = {package} }}"


def compiled_table(bays: Sequence[Bay], folder: Path) -> Path:
    """Write the table's source into a folder and compile it with iasl."""
    source = folder / "packbays.asl"
    source.write_text(table_source(bays), encoding="ascii")
    command = ["iasl", "-ve", "-p", str(folder / "packbays"), str(source)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        msg = f"iasl refused the table:\n{done.stdout}{done.stderr}"
        raise ValueError(msg)
    return folder / "packbays.aml"


def initial_page(bays: Sequence[Bay], *, mains_online: bool) -> bytes:
    """Return the page of memory as it stands at the boot."""
    content = bytearray(page.PAGE_BYTES)
    content[page.MAINS] = mains_online
    for slot, bay in enumerate(bays):
        content[page.fitted_offset(slot)] = bay.fitted
        content[page.notify_offset(slot)] = bay.notify
    return bytes(content)


def table_source(bays: Sequence[Bay]) -> str:
    """Return the table in ACPI source language."""
    fields = [(page.GENERATION, "GENR"), (page.MAINS, "MAIN")]
    announcements = []
    for slot in range(len(bays)):
        fields.append((page.fitted_offset(slot), f"FIT{slot}"))
        fields.append((page.notify_offset(slot), f"NTF{slot}"))
        announcements.append(
            f"      If (NTF{slot}) {{ Notify (BAT{slot}, NTF{slot}) }}"
        )
    return _TABLE.format(
        address=page.PAGE_ADDRESS,
        size=page.PAGE_BYTES,
        fields="\n".join(f"      Offset (0x{at:X}), {name}, 8," for at, name in fields),
        announcements="\n".join(announcements),
        bays="\n".join(_bay_source(slot, bay) for slot, bay in enumerate(bays)),
    )


def _bay_source(slot: int, bay: Bay) -> str:
    packs = (_NO_PACK, *bay.packs)
    methods = [
        _method(slot, "_BST", [_status(pack) for pack in packs], "TELL ()"),
        _method(slot, "_BIF", [_information(pack) for pack in packs]),
    ]
    if bay.extended:
        extended = [_extended_information(pack) for pack in packs]
        methods.append(_method(slot, "_BIX", extended))
    return _BAY.format(slot=slot, methods="\n".join(methods))


def _method(slot: int, name: str, packages: Sequence[str], before: str = "") -> str:
    empty, *held = packages
    choices = [
        _CHOICE.format(slot=slot, number=number, package=package)
        for number, package in enumerate(held, start=1)
    ]
    return _METHOD.format(
        name=name, before=before, empty=empty, choices="\n".join(choices)
    )


def _information(pack: Pack) -> str:
    return _package([*_capacities(pack), _GRANULARITY, *_strings(pack)])


def _extended_information(pack: Pack) -> str:
    revision = "0"
    measured = [_number(pack.cycles), _ACCURACY_AND_TIMES, _GRANULARITY]
    return _package([revision, *_capacities(pack), *measured, *_strings(pack)])


def _capacities(pack: Pack) -> list[str]:
    warning, low = (0, 0) if pack.design is None else (pack.design // 10, 0)
    return [
        str(_UNITS[pack.unit]),
        _number(pack.design),
        _number(pack.full),
        str(_RECHARGEABLE),
        _number(pack.design_voltage),
        str(warning),
        str(low),
    ]


def _strings(pack: Pack) -> list[str]:
    return [_text(s) for s in (pack.model, pack.serial, pack.chemistry, pack.maker)]


def _status(pack: Pack) -> str:
    numbers = [_number(pack.rate), _number(pack.remaining), _number(pack.voltage)]
    return _package([str(_STATES[pack.state]), *numbers])


def _package(items: Sequence[str]) -> str:
    return f"Package () {{ {', '.join(items)} }}"


def _number(value: int | None) -> str:
    return f"0x{_UNKNOWN if value is None else value:08X}"


def _text(value: str) -> str:
    raw = value.encode()
    if all(0x20 <= byte < 0x7F and byte not in b'"\\' for byte in raw):
        return f'"{value}"'
    # A string in AML is ASCII; a buffer may hold any bytes.
    return f"Buffer () {{ {', '.join(f'0x{byte:02X}' for byte in (*raw, 0))} }}"
