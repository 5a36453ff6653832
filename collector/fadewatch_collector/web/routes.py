"""The addresses of the pages."""

from aiohttp import web

from fadewatch_collector.usecases.fleet_csv import FLEET_FILES
from fadewatch_collector.web import (
    about,
    accounts,
    alert,
    alert_list,
    bulk,
    charging,
    downloads,
    find,
    fleet,
    inspect,
    issue,
    laptop,
    laptop_list,
    live,
    order,
    order_stock,
    order_words,
    pack,
    places,
    policy,
    removed,
    sign_in,
    tokens,
    told,
    visit_sheets,
    visits,
)

PAGE_ROUTES = (
    web.get("/", alert_list.show_alerts),
    web.post(bulk.BULK, bulk.act_on_several),
    web.get(alert.ALERT, alert.show_alert),
    *(web.post(f"{alert.ALERT}/{act.name}", act.__call__) for act in alert.ACTIONS),
    web.get(live.LIVE, live.listen, allow_head=False),
    web.get(find.FIND, find.suggest),
    web.get(laptop_list.LAPTOPS, laptop_list.show_laptops),
    web.get(laptop.LAPTOP, laptop.show_laptop),
    web.post(laptop.LAPTOP + "/inspect", laptop.inspect_laptop),
    web.post(laptop.LAPTOP + "/ask", laptop.ask_holder),
    web.get(visits.VISITS, visits.show_visits),
    web.post(visits.ROUND, visits.plan_round),
    web.get(visits.SHEETS, visit_sheets.show_sheets),
    web.get(visit_sheets.SHEET, visit_sheets.show_sheet),
    *(
        web.post(f"{laptop.LAPTOP}/{act.name}", act.__call__)
        for act in visit_sheets.VISIT_ACTS
    ),
    web.get(issue.ISSUE, issue.show_issue),
    web.get(pack.PACK, pack.show_pack),
    web.get(charging.CHARGING, charging.show_charging),
    web.get(order_words.ORDER, order.show_order),
    web.get(order_words.TYPE, order.show_type),
    web.post(order_words.TYPE, order.enter_stock),
    web.get(order_stock.STOCK, order_stock.show_stock),
    web.post(order_stock.DRY_RUN, order_stock.dry_run),
    web.post(order_stock.IMPORT, order_stock.import_now),
    web.get(fleet.FLEET, fleet.show_fleet),
    web.get(fleet.PACKS, fleet.show_packs),
    web.get(removed.REMOVED, removed.show_removed),
    web.post(removed.RECORD + "/set-aside", removed.set_aside),
    web.post(removed.RECORD + "/hand-over", removed.hand_over),
    web.get(places.PLACES, places.show_places),
    web.post(places.DRY_RUN, places.dry_run),
    web.post(places.IMPORT, places.import_now),
    web.post(places.UNDO, places.undo),
    web.get(policy.POLICY, policy.show_policies),
    web.get(policy.EDIT, policy.show_edit),
    web.post(policy.EDIT, policy.change),
    web.get(told.TOLD, told.show_told),
    web.post(told.TOLD + "/add", told.add_route),
    web.post(told.ROUTE + "/end", told.end_route),
    web.post(told.ROUTE + "/test", told.test_route),
    web.get(about.ABOUT, about.show_about),
    web.get(tokens.TOKENS, tokens.show_tokens),
    web.post(tokens.TOKENS + "/make", tokens.make_token),
    web.post(tokens.TOKENS + "/make-api", tokens.make_api_token),
    web.post(tokens.TOKENS + "/{token_id}/revoke", tokens.revoke_token),
    web.post(tokens.TOKENS + "/{token_id}/revoke-api", tokens.revoke_api_token),
    web.get(accounts.ACCOUNTS, accounts.show_accounts),
    web.post(accounts.ACCOUNTS + "/add", accounts.add_account),
    *(
        web.post(f"{accounts.ACCOUNT}/{act.name}", act.__call__)
        for act in accounts.ACTS
    ),
    web.get(inspect.INSPECT, inspect.show_inspection),
    web.post(inspect.INSPECT, inspect.send_inspection),
    web.get(inspect.ANSWERED, inspect.show_answered),
    web.get(downloads.FLEET_CSV, downloads.download_fleet, allow_head=False),
    web.get(downloads.ALERTS_CSV, downloads.download_alerts, allow_head=False),
    web.get(downloads.ISSUE_CSV, downloads.download_issue, allow_head=False),
    web.get(downloads.REMOVED_CSV, downloads.download_removed, allow_head=False),
    web.get(downloads.CHARGING_CSV, downloads.download_charging, allow_head=False),
    *(
        web.get(path, download, allow_head=False)
        for path, download in downloads.ORDER_DOWNLOADS.items()
    ),
    web.get(downloads.VISITS_CSV, downloads.download_visits, allow_head=False),
    *(
        web.get(
            f"/exports/{name}.csv",
            downloads.fleet_file_download(name),
            allow_head=False,
        )
        for name in FLEET_FILES
    ),
    web.get(sign_in.SIGN_IN, sign_in.show_sign_in),
    web.post(sign_in.SIGN_IN, sign_in.sign_in),
    web.get(sign_in.SIGN_IN_ONCE, sign_in.show_sign_in_once),
    web.post(sign_in.SIGN_IN_ONCE, sign_in.sign_in_once),
    web.post(sign_in.SIGN_OUT, sign_in.sign_out),
)
