"""Routes of the life of a pack: swaps, inspections, removed packs."""

from http import HTTPStatus

from fadewatch_collector.api.downloads import CSV_TYPE, send_removed_csv
from fadewatch_collector.api.inspections import (
    HolderLink,
    InspectionOutcome,
    InspectionPage,
    InspectionQuery,
    SeenSigns,
    inspect_laptop,
    make_holder_link,
    show_inspections,
)
from fadewatch_collector.api.packs import (
    PackDetails,
    PackPage,
    PackQuery,
    show_pack,
    show_packs,
)
from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.removed import (
    PackHandOver,
    RemovedPack,
    RemovedPage,
    RemovedQuery,
    SettingAside,
    hand_pack_over,
    set_pack_aside,
    show_removed,
    show_removed_pack,
)
from fadewatch_collector.api.route import Answered, Route, Sent
from fadewatch_collector.api.swaps import (
    Swap,
    SwapConfirmation,
    SwapPage,
    SwapQuery,
    confirm,
    reject,
    show_swap,
    show_swaps,
)

PACK_ROUTES = (
    Route(
        method="GET",
        path="/packs",
        name="listPacks",
        summary="List packs, fitted or not",
        handler=show_packs,
        query=PackQuery,
        answer=Answered(description="A part of the list", model=PackPage),
    ),
    Route(
        method="GET",
        path="/packs/{pack_id}",
        name="showPack",
        summary="Show one pack: stays, assessment, daily values, alerts, trail",
        handler=show_pack,
        path_parameters=numbered("pack_id"),
        answer=Answered(description="The pack", model=PackDetails),
    ),
    Route(
        method="GET",
        path="/swaps",
        name="listSwaps",
        summary="List swaps, the one seen last first",
        handler=show_swaps,
        query=SwapQuery,
        answer=Answered(description="A part of the list", model=SwapPage),
    ),
    Route(
        method="GET",
        path="/swaps/{swap_id}",
        name="showSwap",
        summary="Show one swap and what is said of the new pack",
        handler=show_swap,
        path_parameters=numbered("swap_id"),
        answer=Answered(description="The swap", model=Swap),
    ),
    Route(
        method="POST",
        path="/swaps/{swap_id}/confirm",
        name="confirmSwap",
        summary="Confirm a swap",
        description="The old pack's alerts end and its removal record begins, unless "
        "it sits in another laptop by now. A swap is decided once.",
        handler=confirm,
        role="technician",
        path_parameters=numbered("swap_id"),
        body=Sent(SwapConfirmation, {"swollen": False}),
        answer=Answered(description="The swap as it is now", model=Swap),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="POST",
        path="/swaps/{swap_id}/reject",
        name="rejectSwap",
        summary="Say that there was no swap, or that the wrong pack goes out again",
        description="A swap is decided once.",
        handler=reject,
        role="technician",
        path_parameters=numbered("swap_id"),
        answer=Answered(description="The swap as it is now", model=Swap),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="GET",
        path="/removed-packs",
        name="listRemovedPacks",
        summary="List removed packs, newest record first",
        handler=show_removed,
        query=RemovedQuery,
        role="technician",
        answer=Answered(description="A part of the register", model=RemovedPage),
    ),
    Route(
        method="GET",
        path="/removed-packs/{record_id}",
        name="showRemovedPack",
        summary="Show the record of one removed pack",
        handler=show_removed_pack,
        path_parameters=numbered("record_id"),
        role="technician",
        answer=Answered(description="The record", model=RemovedPack),
    ),
    Route(
        method="POST",
        path="/removed-packs/{record_id}/set-aside",
        name="setPackAside",
        summary="Say where a removed pack lies, and whether it is swollen",
        handler=set_pack_aside,
        role="technician",
        path_parameters=numbered("record_id"),
        body=Sent(
            SettingAside, {"version": 1, "place": "Steel cabinet", "swollen": True}
        ),
        answer=Answered(description="The record as it is now", model=RemovedPack),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="POST",
        path="/removed-packs/{record_id}/hand-over",
        name="handPackOver",
        summary="Say how a removed pack left",
        description="A pack that is swollen, or of which nobody has said that it is "
        "not, is refused for post and air freight.",
        handler=hand_pack_over,
        role="technician",
        path_parameters=numbered("record_id"),
        body=Sent(PackHandOver, {"version": 2, "way": "collection point"}),
        answer=Answered(description="The record as it is now", model=RemovedPack),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="GET",
        path="/exports/removed.csv",
        name="exportRemovedPacks",
        summary="Export the register of removed packs as CSV",
        description="Newest record first. Written like the fleet health CSV.",
        handler=send_removed_csv,
        role="technician",
        answer=Answered(description="The register", media_type=CSV_TYPE),
        problems=(HTTPStatus.TOO_MANY_REQUESTS,),
    ),
    Route(
        method="GET",
        path="/inspections",
        name="listInspections",
        summary="List inspections, newest first",
        handler=show_inspections,
        query=InspectionQuery,
        answer=Answered(description="A part of the list", model=InspectionPage),
    ),
    Route(
        method="POST",
        path="/laptops/{laptop_id}/inspections",
        name="inspectLaptop",
        summary="Keep what was seen at a laptop",
        description="Any sign raises `swelling-reported` at `stop-use` at once. None "
        "ends an alert of the kind `inspect`, and is no proof that the pack is free "
        "of damage.",
        handler=inspect_laptop,
        role="technician",
        path_parameters=numbered("laptop_id"),
        body=Sent(SeenSigns, {"signs": ["touchpad", "gap"]}),
        answer=Answered(
            description="What comes of it",
            model=InspectionOutcome,
            status=HTTPStatus.CREATED,
        ),
    ),
    Route(
        method="POST",
        path="/laptops/{laptop_id}/holder-links",
        name="askHolder",
        summary="Make a link with which the laptop's holder answers once",
        description="The link needs no account, can do nothing else, and expires "
        "after 7 days.",
        handler=make_holder_link,
        role="technician",
        path_parameters=numbered("laptop_id"),
        answer=Answered(
            description="The link", model=HolderLink, status=HTTPStatus.CREATED
        ),
    ),
)
