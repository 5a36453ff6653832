"""How much one caller may ask for, and how long it may take."""

from dataclasses import dataclass

from fadewatch_collector.api.buckets import Rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The API's limits in force.

    Attributes
    ----------
    reports
        Requests of one laptop.
    enrolments
        Requests of one address.
    operators
        Requests of all API tokens of one operator.
    body_timeout_s
        Longest wait for a whole body [s].
    exports_at_once
        Exports that run at the same time; each holds a connection to the store.
    piece_timeout_s
        Longest wait for a caller to take one piece of an export [s]. An export is one
        steady view of the store: a caller who stops reading must not hold it.
    """

    reports: Rate
    enrolments: Rate
    operators: Rate
    body_timeout_s: float
    exports_at_once: int
    piece_timeout_s: float


DEFAULT_LIMITS = Limits(
    # A full spool of 5,000 reports goes out in 10 requests.
    reports=Rate(burst=60, per_second=1),
    # A thousand laptops of one image may start in the same minute behind one gateway;
    # a token of 32 random bytes is not guessed at any rate.
    enrolments=Rate(burst=1000, per_second=20),
    # A fleet of 100,000 laptops is read in pages of 200 without a wait.
    operators=Rate(burst=600, per_second=20),
    body_timeout_s=60,
    exports_at_once=3,
    piece_timeout_s=60,
)
"""Own choices."""
