"""Routes of what the organisation sets: places and policy."""

from http import HTTPStatus

from fadewatch_collector.api.paths import numbered
from fadewatch_collector.api.places import (
    CSV,
    ImportQuery,
    PlaceImports,
    PlaceOutcome,
    PlacesGivenBack,
    show_imports,
    take_places,
    undo_import,
)
from fadewatch_collector.api.policies import (
    ChangedScopes,
    NewPolicy,
    PolicyOfScope,
    PolicyQuery,
    put_policy,
    show_policies,
    show_policy,
)
from fadewatch_collector.api.route import Answered, Route, Sent

PLACE_ROUTES = (
    Route(
        method="POST",
        path="/places",
        name="importPlaces",
        summary="Import asset tag, holder and site by laptop serial",
        description="UTF-8, RFC 4180, at most 4 MiB. The first line names "
        "`laptop_serial` and any of `asset_tag`, `holder`, `site`; an empty cell "
        "clears the field. Nothing is changed when a row has a problem, nor with "
        "`dry_run`.",
        handler=take_places,
        role="technician",
        query=ImportQuery,
        body=Sent(
            None, "laptop_serial,holder,site\r\nBM-00314,Desk 12,Harbour\r\n", CSV
        ),
        answer=Answered(description="What changed, or would", model=PlaceOutcome),
    ),
    Route(
        method="GET",
        path="/places/imports",
        name="listPlaceImports",
        summary="List the newest imports of places",
        handler=show_imports,
        role="technician",
        answer=Answered(description="The imports", model=PlaceImports),
    ),
    Route(
        method="POST",
        path="/places/imports/{import_id}/undo",
        name="undoPlaceImport",
        summary="Undo the newest import that stands",
        description="A field that was changed again since keeps its newer value. "
        "Another import than the newest is refused.",
        handler=undo_import,
        role="technician",
        path_parameters=numbered("import_id"),
        answer=Answered(description="How many laptops", model=PlacesGivenBack),
        problems=(HTTPStatus.CONFLICT,),
    ),
    Route(
        method="GET",
        path="/policies",
        name="listPolicies",
        summary="List where the policy differs from the default",
        handler=show_policies,
        answer=Answered(description="The scopes", model=ChangedScopes),
    ),
    Route(
        method="GET",
        path="/policy",
        name="showPolicy",
        summary="Show the policy of the fleet, a site or a laptop model",
        handler=show_policy,
        query=PolicyQuery,
        answer=Answered(description="The policy", model=PolicyOfScope),
    ),
    Route(
        method="PUT",
        path="/policy",
        name="changePolicy",
        summary="Set what differs for the fleet, a site or a laptop model",
        description="Packs are assessed by it from now on.",
        handler=put_policy,
        role="administrator",
        query=PolicyQuery,
        body=Sent(NewPolicy, {"version": 0, "changes": {"plan_wear_percent": 25}}),
        answer=Answered(description="The policy as it is now", model=PolicyOfScope),
        problems=(HTTPStatus.CONFLICT,),
    ),
)
