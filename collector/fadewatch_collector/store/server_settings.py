"""What a session asks of the PostgreSQL server: to end it when its collector is gone.

A killed process's connections are closed by its system, and with them transactions and
locks end at once. A machine that froze, or lost its network, closes nothing; without
these settings the server would keep its locks for two hours.
"""

from collections.abc import Mapping

KEPT_ALIVE = {
    # The peer is asked after 10 s without a word, three times, 5 s apart.
    "tcp_keepalives_idle": "10",
    "tcp_keepalives_interval": "5",
    "tcp_keepalives_count": "3",
    "tcp_user_timeout": "25s",
    # Nothing holds a transaction open for as long without a statement: whoever takes
    # an export may pause for a minute.
    "idle_in_transaction_session_timeout": "2min",
}
"""For every session. Own choice."""


def asking_for(settings: Mapping[str, str], *, here_only: bool = False) -> str:
    """Return the statement that makes settings; those not known there are left out.

    Parameters
    ----------
    settings
        Names and values of our own, never from outside.
    here_only
        To the end of the transaction, instead of the session.
    """
    rows = ", ".join(f"('{name}', '{value}')" for name, value in settings.items())
    local = "true" if here_only else "false"
    return (
        f"SELECT set_config(name, value, {local}) "  # noqa: S608  our own names
        f"FROM (VALUES {rows}) AS wanted (name, value) JOIN pg_settings USING (name)"
    )
