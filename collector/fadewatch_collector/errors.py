"""The collector's errors.

::

    FadewatchError (fadewatch_common)
    └── CollectorError
        ├── NotFound              also LookupError
        ├── NotAllowed            also PermissionError
        ├── NotSignedIn           also PermissionError
        ├── TokenRefused          also PermissionError
        ├── TooManyAttempts       also RuntimeError; carries retry_after_s
        ├── QueueFull             also RuntimeError; carries retry_after_s
        ├── ProviderTrouble       also ConnectionError
        ├── InvalidRequest        also ValueError
        ├── Conflict              also ValueError
        │   └── ChangedMeanwhile  carries who and when
        ├── CertificateTrouble    (edge.certificates) also OSError
        ├── DeliveryProblem       (outbound.problems)
        │   ├── TryLater          also ConnectionError; may carry retry_after
        │   └── Refused           also ValueError
        └── StoreError            also RuntimeError
            ├── StoreTrouble
            ├── StoreIsNewer
            ├── StoreIsBusy
            └── BackupProblem
"""

from datetime import datetime

from fadewatch_common.errors import FadewatchError


class CollectorError(FadewatchError):
    """Root of the collector's errors."""


class NotFound(CollectorError, LookupError):
    """There is no such thing."""

    def __init__(self, what: str, key: object) -> None:
        super().__init__(f"there is no {what} {key}")


class NotAllowed(CollectorError, PermissionError):
    """The person or key is known, and may not do this."""

    def __init__(self, what: str) -> None:
        super().__init__(f"this account may not {what}")


class NotSignedIn(CollectorError, PermissionError):
    """No valid sign-in or key came with the request."""

    def __init__(self, why: str = "sign in, or send a valid key") -> None:
        super().__init__(why)


class ProviderTrouble(CollectorError, ConnectionError):
    """The organisation's identity provider cannot be asked, or answers nonsense."""

    def __init__(self, why: str) -> None:
        super().__init__(
            "your organisation's identity provider cannot be used now: " + why
        )


class TokenRefused(CollectorError, PermissionError):
    """An enrolment token that is unknown, spent, expired or revoked."""

    def __init__(self, why: str) -> None:
        super().__init__(
            f"the enrolment token is {why}; make a new one with "
            "'fadewatch-collector token new'"
        )


class TooManyAttempts(CollectorError, RuntimeError):
    """A rate limit was reached."""

    def __init__(self, what: str, retry_after_s: float) -> None:
        super().__init__(f"too many {what}; try again in {retry_after_s:.0f} s")
        self.retry_after_s = retry_after_s


class QueueFull(CollectorError, RuntimeError):
    """More reports wait to be written than the collector holds in memory."""

    def __init__(self, retry_after_s: float) -> None:
        super().__init__("the collector is busy; nothing was stored, send it again")
        self.retry_after_s = retry_after_s


class InvalidRequest(CollectorError, ValueError):
    """The request breaks the contract; the message says where."""


class Conflict(CollectorError, ValueError):
    """It cannot be done because of what is there already."""


class ChangedMeanwhile(Conflict):
    """Somebody else was first: what the person saw is not there any more.

    Parameters
    ----------
    what
        What was changed, such as ``the alert``.
    who
        Who changed it; None is the collector itself.
    when
        The moment, in UTC.
    how
        What was done to it, as in ``planned``.
    """

    def __init__(
        self, what: str, who: str | None, when: datetime | None, how: str | None = None
    ) -> None:
        by = who or "the collector itself"
        at = f" on {when:%Y-%m-%d at %H:%M} UTC" if when else ""
        super().__init__(
            f"{what} was {how or 'changed'} by {by}{at}, after you looked; look at it "
            "again and repeat what is still right"
        )
        self.who = who
        self.when = when


class StoreError(CollectorError, RuntimeError):
    """The store cannot be used."""


class StoreTrouble(StoreError):
    """The database cannot do its work now: disk full, locked, restarting, gone."""

    def __init__(self, why: object) -> None:
        super().__init__(f"the store cannot be used now: {why}")


class StoreIsNewer(StoreError):
    """A newer Fadewatch has written the store."""

    def __init__(self, found: str, known: str) -> None:
        super().__init__(
            f"the store is at revision {found}, newer than this collector knows "
            f"({known}). Install the newer Fadewatch again, or restore a backup made "
            "before the upgrade. Nothing was changed."
        )


class StoreIsBusy(StoreError):
    """Another process holds the store."""

    def __init__(self, path: object) -> None:
        super().__init__(f"another collector already uses the data folder {path}")


class BackupProblem(StoreError):
    """A backup cannot be made, or is not one that can be restored here."""
