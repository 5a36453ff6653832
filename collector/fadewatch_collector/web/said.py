"""What a page says after something was done: one of these, never text from outside."""

SAID = {
    "acknowledged": "Acknowledged.",
    "planned": "The day is set.",
    "handed-over": "Handed over.",
    "several-acknowledged": "Acknowledged, all that were chosen.",
    "several-planned": "The day is set for all that were chosen.",
    "several-handed-over": "Handed over, all that were chosen.",
    "noted": "The note is kept.",
    "ended": "The alert has ended.",
    "swap-confirmed": "The swap is confirmed; the pack taken out is in the register "
    "of removed packs.",
    "swap-rejected": "Kept: no swap is confirmed.",
    "inspected": "The inspection is kept.",
    "set-aside": "Kept: the pack is set aside.",
    "pack-handed-over": "Kept: the pack was handed over.",
    "visit-planned": "The visit is planned.",
    "visit-done": "Kept: the visit is done. Alerts about figures end by themselves once "
    "the next readings bear it out.",
    "visit-called-off": "The visit is called off.",
    "round": "The round is planned.",
    "round-part": "The round is planned for as many laptops as one round takes; plan "
    "another for the rest.",
    "imported": "The places are imported.",
    "undone": "The last import is undone.",
    "stock": "Kept.",
    "stock-imported": "The stock is imported.",
    "policy": "The policy is changed. Packs are assessed by it from their next "
    "reading on, all of them tonight.",
    "route-added": "The route is added; it tells of what opens from now on.",
    "route-ended": "The route has ended.",
    "route-tested": "The other side has accepted the test message.",
    "token-revoked": "The token is revoked.",
    "key-renewal": "Asked: the laptop renews its key with its next report.",
    "key-revoked": "The key has ended. The laptop comes back with a new enrolment "
    "token only.",
    "no-key": "This laptop has no valid key.",
    "account-added": "The account is added.",
    "account-disabled": "The account is disabled; its sessions have ended.",
    "account-enabled": "The account is enabled.",
    "role-set": "The role is changed; their sessions have ended.",
    "signed-out": "Signed out everywhere.",
    "everybody-signed-out": "Everybody else is signed out.",
    "own-password-set": "Your password is changed; your other sessions have ended.",
    "session-ended": "The session has ended.",
    "signed-out-everywhere": "You are signed out everywhere.",
    "password-set": "The password is set; sessions with the old one have ended.",
}
