"""Who gets in where, as people agreed on it: written by hand, to be read by people.

It is no copy of what the code says: the test compares both, and fails for a route that
is not in here. A new route gets a line; ask who needs it, not what its handler says.
"""

CALLERS = (
    "nobody",
    "viewer", "technician", "administrator",
    "viewer's token", "technician's token", "administrator's token",
    "expired session", "idle session", "signed-out session", "disabled account",
    "own key", "another laptop's key", "revoked key",
    "revoked API token", "expired API token",
    "spent enrolment token", "inspection link",
)  # fmt: skip
"""Who calls. Sessions come as a cookie, keys and tokens as a bearer; the spent enrolment
token is in the body, the inspection link in the path."""

OUTCOMES = """
kind                 nobody sessions     API tokens     ended sessions       laptops' keys ended tokens enrol link
                            v    t    a    v   t   a    exp  idle out  dis   own oth rev   rev  exp
open                 in     in   in   in   in  in  in   in   in   in   in    in  in  in    in   in      in    in
credentials          403    403  403  403  403 403 403  403  403  403  403   403 403 403   403  403     403   403
sign-out             door   door door door door door door door door door door door door door door door  door  door
no-provider          404    404  404  404  404 404 404  404  404  404  404   404 404 404   404  404     404   404
holder               404    404  404  404  404 404 404  404  404  404  404   404 404 404   404  404     404   in
look-viewer          door   in   in   in   door door door door door door door door door door door door  door  door
look-technician      door   403  in   in   door door door door door door door door door door door door  door  door
look-administrator   door   403  403  in   door door door door door door door door door door door door  door  door
act-viewer           403    in   in   in   403 403 403  403  403  403  403   403 403 403   403  403     403   403
act-and-leave        403    door door door 403 403 403  403  403  403  403   403 403 403   403  403     403   403
act-technician       403    403  in   in   403 403 403  403  403  403  403   403 403 403   403  403     403   403
act-administrator    403    403  403  in   403 403 403  403  403  403  403   403 403 403   403  403     403   403
enrol                400    400  400  400  400 400 400  400  400  400  400   400 400 400   400  400     403   400
agent                401    401  401  401  401 401 401  401  401  401  401   in  in  401   401  401     401   401
api-viewer           401    401  401  401  in  in  in   401  401  401  401   401 401 401   401  401     401   401
api-technician       401    401  401  401  403 in  in   401  401  401  401   401 401 401   401  401     401   401
api-administrator    401    401  401  401  403 403 in   401  401  401  401   401 401 401   401  401     401   401
"""
"""What each kind of route does to each caller, in the order of CALLERS.

``in``: the route's own answer, whatever it is. ``door``: sent to the sign-in page. A
number: kept out with that status; pages with a page, the API with a problem.
``credentials`` take a name, password or link in the form, and nobody brings a right one.
Another laptop's key gets in with that laptop's own data only: see the tests beside this
table.
"""

ROUTES = """
open                GET   /api/v1/openapi.json
open                GET   /healthz
open                GET   /inspected/{answer}
open                GET   /readyz
open                GET   /sign-in
open                GET   /sign-in/once
open                GET   /static/{name}

credentials         POST  /sign-in
credentials         POST  /sign-in/once

sign-out            POST  /sign-out

no-provider         GET   /sign-in/organisation
no-provider         GET   /sign-in/organisation/back
no-provider         GET   /sign-in/organisation/out

holder              GET   /inspect/{token}
holder              POST  /inspect/{token}

look-viewer         GET   /
look-viewer         GET   /about
look-viewer         GET   /account
look-viewer         GET   /agents
look-viewer         GET   /alerts/{alert_id}
look-viewer         GET   /charging
look-viewer         GET   /exports/alerts.csv
look-viewer         GET   /exports/budget.csv
look-viewer         GET   /exports/charging.csv
look-viewer         GET   /exports/fleet-months.csv
look-viewer         GET   /exports/fleet-quarter.csv
look-viewer         GET   /exports/fleet-shares.csv
look-viewer         GET   /exports/fleet-types.csv
look-viewer         GET   /exports/fleet.csv
look-viewer         GET   /exports/held-forecasts.csv
look-viewer         GET   /exports/issue.csv
look-viewer         GET   /exports/order-packs.csv
look-viewer         GET   /exports/order.csv
look-viewer         GET   /exports/stock.csv
look-viewer         GET   /exports/visits.csv
look-viewer         GET   /find
look-viewer         GET   /fleet
look-viewer         GET   /fleet/packs
look-viewer         GET   /issue
look-viewer         GET   /laptops
look-viewer         GET   /laptops/{laptop_id}
look-viewer         GET   /laptops/{laptop_id}/sheet
look-viewer         GET   /live
look-viewer         GET   /order
look-viewer         GET   /order/type
look-viewer         GET   /packs/{pack_id}
look-viewer         GET   /visits
look-viewer         GET   /visits/sheets

look-technician     GET   /agents/set-up
look-technician     GET   /exports/removed.csv
look-technician     GET   /order/stock
look-technician     GET   /places
look-technician     GET   /removed

look-administrator  GET   /laptops/{laptop_id}/forget
look-administrator  GET   /laptops/{laptop_id}/held.json
look-administrator  GET   /settings/accounts
look-administrator  GET   /settings/policy
look-administrator  GET   /settings/policy/edit
look-administrator  GET   /settings/tokens
look-administrator  GET   /settings/told

act-viewer          POST  /account/end
act-viewer          POST  /account/password
act-and-leave       POST  /account/sign-out-everywhere

act-technician      POST  /alerts/several
act-technician      POST  /alerts/{alert_id}/acknowledge
act-technician      POST  /alerts/{alert_id}/confirm-swap
act-technician      POST  /alerts/{alert_id}/end
act-technician      POST  /alerts/{alert_id}/hand-over
act-technician      POST  /alerts/{alert_id}/note
act-technician      POST  /alerts/{alert_id}/plan
act-technician      POST  /alerts/{alert_id}/reject-swap
act-technician      POST  /laptops/{laptop_id}/ask
act-technician      POST  /laptops/{laptop_id}/call-off-visit
act-technician      POST  /laptops/{laptop_id}/finish-visit
act-technician      POST  /laptops/{laptop_id}/inspect
act-technician      POST  /laptops/{laptop_id}/plan-visit
act-technician      POST  /order/stock/dry-run
act-technician      POST  /order/stock/import
act-technician      POST  /order/type
act-technician      POST  /places/dry-run
act-technician      POST  /places/import
act-technician      POST  /places/undo
act-technician      POST  /removed/{record_id}/hand-over
act-technician      POST  /removed/{record_id}/set-aside
act-technician      POST  /visits/round

act-administrator   POST  /laptops/{laptop_id}/key/renew
act-administrator   POST  /laptops/{laptop_id}/key/revoke
act-administrator   POST  /laptops/{laptop_id}/forget
act-administrator   POST  /laptops/{laptop_id}/forget/holder
act-administrator   POST  /settings/accounts/add
act-administrator   POST  /settings/accounts/sign-everybody-out
act-administrator   POST  /settings/accounts/{operator_id}/disable
act-administrator   POST  /settings/accounts/{operator_id}/enable
act-administrator   POST  /settings/accounts/{operator_id}/password
act-administrator   POST  /settings/accounts/{operator_id}/role
act-administrator   POST  /settings/accounts/{operator_id}/sign-out
act-administrator   POST  /settings/policy/edit
act-administrator   POST  /settings/tokens/make
act-administrator   POST  /settings/tokens/make-api
act-administrator   POST  /settings/tokens/{token_id}/revoke
act-administrator   POST  /settings/tokens/{token_id}/revoke-api
act-administrator   POST  /settings/told/add
act-administrator   POST  /settings/told/{route_id}/end
act-administrator   POST  /settings/told/{route_id}/test

enrol               POST  /api/v1/enrol

agent               GET   /api/v1/bench-figures
agent               POST  /api/v1/key
agent               POST  /api/v1/reports

api-viewer          GET   /api/v1/agents
api-viewer          GET   /api/v1/alerts
api-viewer          GET   /api/v1/alerts/{alert_id}
api-viewer          GET   /api/v1/bench-checks
api-viewer          GET   /api/v1/charging-habits
api-viewer          GET   /api/v1/exports/budget.csv
api-viewer          GET   /api/v1/exports/charging.csv
api-viewer          GET   /api/v1/exports/fleet-months.csv
api-viewer          GET   /api/v1/exports/fleet-quarter.csv
api-viewer          GET   /api/v1/exports/fleet-shares.csv
api-viewer          GET   /api/v1/exports/fleet-types.csv
api-viewer          GET   /api/v1/exports/fleet.csv
api-viewer          GET   /api/v1/exports/held-forecasts.csv
api-viewer          GET   /api/v1/exports/issue.csv
api-viewer          GET   /api/v1/exports/order-packs.csv
api-viewer          GET   /api/v1/exports/order.csv
api-viewer          GET   /api/v1/exports/stock.csv
api-viewer          GET   /api/v1/exports/visits.csv
api-viewer          GET   /api/v1/fleet/held-forecasts
api-viewer          GET   /api/v1/fleet/months
api-viewer          GET   /api/v1/fleet/quarter
api-viewer          GET   /api/v1/fleet/shares
api-viewer          GET   /api/v1/fleet/types
api-viewer          GET   /api/v1/inspections
api-viewer          GET   /api/v1/laptops
api-viewer          GET   /api/v1/laptops/{laptop_id}
api-viewer          GET   /api/v1/laptops/{laptop_id}/bench-check
api-viewer          GET   /api/v1/laptops/{laptop_id}/trail
api-viewer          GET   /api/v1/order-list
api-viewer          GET   /api/v1/order-list/packs
api-viewer          GET   /api/v1/packs
api-viewer          GET   /api/v1/packs/{pack_id}
api-viewer          GET   /api/v1/packs/{pack_id}/charging
api-viewer          GET   /api/v1/policies
api-viewer          GET   /api/v1/policy
api-viewer          GET   /api/v1/stock
api-viewer          GET   /api/v1/swaps
api-viewer          GET   /api/v1/swaps/{swap_id}
api-viewer          GET   /api/v1/visits
api-viewer          GET   /api/v1/visits/due
api-viewer          GET   /api/v1/visits/{visit_id}

api-technician      POST  /api/v1/alerts/{alert_id}/acknowledge
api-technician      POST  /api/v1/alerts/{alert_id}/end
api-technician      POST  /api/v1/alerts/{alert_id}/hand-over
api-technician      POST  /api/v1/alerts/{alert_id}/note
api-technician      POST  /api/v1/alerts/{alert_id}/plan
api-technician      GET   /api/v1/exports/removed.csv
api-technician      POST  /api/v1/laptops/{laptop_id}/holder-links
api-technician      POST  /api/v1/laptops/{laptop_id}/inspections
api-technician      POST  /api/v1/laptops/{laptop_id}/visits
api-technician      POST  /api/v1/places
api-technician      GET   /api/v1/places/imports
api-technician      POST  /api/v1/places/imports/{import_id}/undo
api-technician      GET   /api/v1/removed-packs
api-technician      GET   /api/v1/removed-packs/{record_id}
api-technician      POST  /api/v1/removed-packs/{record_id}/hand-over
api-technician      POST  /api/v1/removed-packs/{record_id}/set-aside
api-technician      PUT   /api/v1/stock
api-technician      POST  /api/v1/stock/import
api-technician      POST  /api/v1/swaps/{swap_id}/confirm
api-technician      POST  /api/v1/swaps/{swap_id}/reject
api-technician      POST  /api/v1/visit-rounds
api-technician      POST  /api/v1/visits
api-technician      POST  /api/v1/visits/{visit_id}/call-off
api-technician      POST  /api/v1/visits/{visit_id}/done
api-technician      POST  /api/v1/visits/{visit_id}/move

api-administrator   POST  /api/v1/holders/forget
api-administrator   GET   /api/v1/laptops/{laptop_id}/export
api-administrator   POST  /api/v1/laptops/{laptop_id}/forget
api-administrator   GET   /api/v1/api-tokens
api-administrator   POST  /api/v1/api-tokens/{token_id}/revoke
api-administrator   GET   /api/v1/enrolment-tokens
api-administrator   POST  /api/v1/enrolment-tokens
api-administrator   POST  /api/v1/enrolment-tokens/{token_id}/revoke
api-administrator   POST  /api/v1/laptops/{laptop_id}/key/renewal
api-administrator   POST  /api/v1/laptops/{laptop_id}/key/revoke
api-administrator   GET   /api/v1/notification-routes
api-administrator   POST  /api/v1/notification-routes
api-administrator   POST  /api/v1/notification-routes/{route_id}/end
api-administrator   POST  /api/v1/notification-routes/{route_id}/test
api-administrator   GET   /api/v1/operators
api-administrator   POST  /api/v1/operators
api-administrator   POST  /api/v1/operators/{operator_id}/api-tokens
api-administrator   POST  /api/v1/operators/{operator_id}/disable
api-administrator   POST  /api/v1/operators/{operator_id}/enable
api-administrator   POST  /api/v1/operators/{operator_id}/sign-out
api-administrator   PUT   /api/v1/policy
"""
"""Every route by its kind."""
