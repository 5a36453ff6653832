"""What the agent can explain when something stands in its way.

::

    AgentError
    ├── UsageError           also ValueError    a wrong command line (arguments.py)
    ├── DamagedTables        also ValueError    SMBIOS tables that make no sense
    ├── InvalidConfiguration also ValueError    a setting that cannot be used
    ├── NotABundle           also LookupError   no manifest to compare files with
    ├── NotSetUp             also OSError       what stopped an installation
    ├── NotEnrolled          also LookupError   no key, and no token to get one
    ├── UnusableSpool        also OSError       the queue's file cannot be used
    └── DeliveryError        also OSError       the collector did not take reports
        ├── Unreachable                         no answer, or one asking to wait
        ├── Refused                             the key or token is not accepted
        ├── Unacceptable                        the request itself is at fault
        └── NotACollector                       not the answer of a collector
"""

from fadewatch_common.errors import FadewatchError


class AgentError(FadewatchError):
    """Something the agent can explain to the person who runs it."""


class DamagedTables(AgentError, ValueError):
    """SMBIOS tables that cannot be walked."""

    def __init__(self, offset: int, why: str) -> None:
        super().__init__(f"SMBIOS tables: at byte {offset}, {why}")


class InvalidConfiguration(AgentError, ValueError):
    """A setting is missing or cannot be used."""


class NotABundle(AgentError, LookupError):
    """The running agent is no bundle, so there is nothing to compare it with."""

    def __init__(self, root: object) -> None:
        super().__init__(
            f"{root} holds no manifest: this agent was installed as a Python package, "
            "whose files pip can check"
        )


class NotSetUp(AgentError, OSError):
    """The machine could not be set up, or not wholly; running it again is safe."""


class NotEnrolled(AgentError, LookupError):
    """There is no key for this collector and no token to get one with."""


class UnusableSpool(AgentError, OSError):
    """The queue's file cannot be used: no room, no rights, or another layout."""

    def __init__(self, path: object, why: object) -> None:
        super().__init__(f"the queue {path} cannot be used: {why}")


class DeliveryError(AgentError, OSError):
    """The collector did not take what was sent."""


class Unreachable(DeliveryError):
    """No usable answer came, or one that asks to come back later.

    Attributes
    ----------
    retry_after
        Seconds that the collector asked to wait, or None when it named none.
    """

    def __init__(self, why: str, retry_after: float | None = None) -> None:
        super().__init__(why)
        self.retry_after = retry_after


class Refused(DeliveryError):
    """The collector does not accept the key or the token."""


class Unacceptable(DeliveryError):
    """The collector understood the request and finds it at fault."""


class NotACollector(DeliveryError):
    """The answer is not a collector's: a proxy's page, a redirect, another service."""
