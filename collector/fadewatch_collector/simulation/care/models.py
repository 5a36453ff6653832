"""The invented laptop models of a fleet in care, and the packs that belong to them."""

from dataclasses import dataclass

from fadewatch_collector.simulation.packtypes import PACK_TYPES

_KIND = {one.model: number for number, one in enumerate(PACK_TYPES)}


@dataclass(frozen=True, slots=True)
class LaptopModel:
    """A laptop model: its pack type, the other it also comes with, its slots."""

    maker: str
    model: str
    kind: int
    second_kind: int | None = None
    slots: tuple[str, ...] = ("BAT0",)


MODELS: tuple[LaptopModel, ...] = (
    LaptopModel("Quillmere", "Sedge 14", _KIND["KS-F57"], _KIND["KS-F42"]),
    LaptopModel("Quillmere", "Sedge 15", _KIND["KS-H86"]),
    LaptopModel("Quillmere", "Sedge 14 Twin", _KIND["DM-24"], slots=("BAT0", "BAT1")),
    LaptopModel("Tarnvale", "Fescue 13", _KIND["BW 2-38"]),
    LaptopModel("Tarnvale", "Fescue 14", _KIND["BW 3-48"], _KIND["BW 3-61"]),
    LaptopModel("Tarnvale", "Fescue 16", _KIND["DM-72"]),
    LaptopModel("Venniford", "Burdock 14", _KIND["Reed 505"], _KIND["Reed 440"]),
    LaptopModel("Venniford", "Burdock 15", _KIND["Reed 440"]),
    LaptopModel("Venniford", "Burdock 17", _KIND["Reed 710"]),
    LaptopModel("Venniford", "Burdock 11", _KIND["DM-365"]),
)


def stranger_kinds(model: LaptopModel) -> tuple[int, ...]:
    """Return the pack types that do not belong into a model."""
    own = {model.kind, model.second_kind}
    return tuple(kind for kind in range(len(PACK_TYPES)) if kind not in own)
