"""The request that is being worked on, for the log."""

from contextvars import ContextVar

REQUEST: ContextVar[str] = ContextVar("fadewatch_request", default="")
"""Its id; empty outside of requests."""
