"""The addresses of the pages."""

from aiohttp import web

from fadewatch_collector.web import (
    accounts,
    alert,
    alert_list,
    downloads,
    find,
    inspect,
    laptop,
    laptop_list,
    pack,
    places,
    policy,
    removed,
    sign_in,
    tokens,
)

PAGE_ROUTES = (
    web.get("/", alert_list.show_alerts),
    web.get(alert.ALERT, alert.show_alert),
    *(web.post(f"{alert.ALERT}/{act.name}", act.__call__) for act in alert.ACTIONS),
    web.get(find.FIND, find.suggest),
    web.get(laptop_list.LAPTOPS, laptop_list.show_laptops),
    web.get(laptop.LAPTOP, laptop.show_laptop),
    web.post(laptop.LAPTOP + "/inspect", laptop.inspect_laptop),
    web.post(laptop.LAPTOP + "/ask", laptop.ask_holder),
    web.get(pack.PACK, pack.show_pack),
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
    web.get(downloads.REMOVED_CSV, downloads.download_removed, allow_head=False),
    web.get(sign_in.SIGN_IN, sign_in.show_sign_in),
    web.post(sign_in.SIGN_IN, sign_in.sign_in),
    web.get(sign_in.SIGN_IN_ONCE, sign_in.show_sign_in_once),
    web.post(sign_in.SIGN_IN_ONCE, sign_in.sign_in_once),
    web.post(sign_in.SIGN_OUT, sign_in.sign_out),
)
