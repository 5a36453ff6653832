"""What the provider tells of people."""

from typing import Any

from oauth2_provider.oauth2_validators import OAuth2Validator

from tests.provider.__main__ import GROUPS


class Claims(OAuth2Validator):  # type: ignore[misc]  # the library has no types
    """Adds a name and groups."""

    oidc_claim_scope = None

    def get_additional_claims(self, request: Any) -> dict[str, Any]:
        groups, called = GROUPS[request.user.username]
        return {"preferred_username": called, "groups": groups}
