"""A reading as a short plain table that can be read aloud."""

from collections.abc import Iterator

from fadewatch_common.report import Drive, MemorySlot, Pack, Report
from fadewatch_common.wear import is_plausible, wear

_UNKNOWN = "not known"
_STATES = {
    "charging": "charging",
    "discharging": "discharging",
    "full": "full",
    "held": "on mains, not charging",
    "unknown": _UNKNOWN,
}
_MAINS = {True: "on mains", False: "not on mains", None: "mains not known"}
_GAP = "  "


def readout(report: Report) -> str:
    """Write a report as aligned text, one column a pack."""
    lines = [
        f"{_laptop(report)}; {_MAINS[report.mains_online]}",
        "",
        *(_pack_table(report.packs) or ["No pack was found."]),
        "",
        *_memory(report),
        *(f"drive   {_drive(drive)}" for drive in report.drives),
    ]
    if report.remarks:
        lines += ["", "Not read, or doubtful:"]
        lines += [f"- {remark}" for remark in report.remarks]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _laptop(report: Report) -> str:
    laptop = report.laptop
    name = " ".join(filter(None, (laptop.maker, laptop.model))) or "Laptop"
    serial = laptop.serial or _UNKNOWN
    return f"{name}, serial {serial}, read {report.measured_at:%Y-%m-%d %H:%M} UTC"


def _pack_table(packs: tuple[Pack, ...]) -> list[str]:
    if not packs:
        return []
    columns = [list(_pack_column(pack)) for pack in packs]
    names = [name for name, _ in columns[0]]
    cells = [names, *([value for _, value in column] for column in columns)]
    widths = [max(map(len, column)) for column in cells]
    return [
        _GAP.join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        for row in zip(*cells, strict=True)
    ]


def _pack_column(pack: Pack) -> Iterator[tuple[str, str]]:
    made_on = pack.made_on.isoformat() if pack.made_on else _UNKNOWN
    cycles = _UNKNOWN if pack.cycle_count is None else f"{pack.cycle_count} cycles"
    yield "pack", pack.slot
    yield "wear", wear_text(pack)
    yield "full-charge capacity", _capacity(pack.full_charge_capacity, pack)
    yield "design capacity", _capacity(pack.design_capacity, pack)
    yield "remaining capacity", _capacity(pack.remaining_capacity, pack)
    yield "cycle count", cycles
    yield "state", _STATES[pack.state]
    yield "maker", pack.maker or _UNKNOWN
    yield "model", pack.model or _UNKNOWN
    yield "serial", pack.serial or _UNKNOWN
    yield "made on", made_on


def wear_text(pack: Pack) -> str:
    """Write a pack's wear in percent, or why there is none."""
    full, design = pack.full_charge_capacity, pack.design_capacity
    if full is None or design is None:
        return _UNKNOWN
    if not is_plausible(full, design):
        return "implausible"
    return f"{100 * wear(full, design):.1f} %"


def _capacity(value: int | None, pack: Pack) -> str:
    if value is None:
        return _UNKNOWN
    if pack.unit != "relative":
        return f"{value} {pack.unit}"
    # Without a design capacity the firmware counts in percent of a full charge.
    return f"{value} %" if pack.design_capacity is None else f"{value} (no unit)"


def _memory(report: Report) -> Iterator[str]:
    if report.memory is None:
        yield f"memory  {_UNKNOWN}"
        return
    yield f"memory  {report.memory.total_mib} MiB in all"
    for slot in report.memory.slots:
        yield f"        {_slot(slot)}"


def _slot(slot: MemorySlot) -> str:
    if not slot.size_mib:
        return f"{slot.locator}: empty"
    words = [f"{slot.size_mib} MiB"]
    words += [slot.kind] if slot.kind else []
    words += [f"{slot.speed_mts} MT/s"] if slot.speed_mts else []
    words += ["soldered"] if slot.soldered else []
    return f"{slot.locator}: {', '.join(words)}"


def _drive(drive: Drive) -> str:
    size = f"{drive.size_bytes / 1e9:.0f} GB"
    kind = "kind not known" if drive.kind == "unknown" else drive.kind
    return ", ".join(filter(None, (drive.name, kind, size, drive.model)))
