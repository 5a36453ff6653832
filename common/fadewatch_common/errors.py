"""The root of every error that Fadewatch raises on purpose.

::

    FadewatchError
    ├── InvalidCapacity      (fadewatch_common.wear)          also ValueError
    ├── InvalidReportId      (fadewatch_common.report_id)     also ValueError
    ├── AgentError           (fadewatch_agent.errors)
    └── CollectorError       (fadewatch_collector.errors)
"""


class FadewatchError(Exception):
    """Something that Fadewatch can explain to the person who meets it."""
