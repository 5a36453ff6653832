"""The agent, as it is put into a guest."""

from pathlib import Path

_REPOSITORY = Path(__file__).parents[2]

AGENT_FILES = {
    "/opt/fadewatch/fadewatch_agent": _REPOSITORY / "agent/fadewatch_agent",
    "/opt/fadewatch/fadewatch_common": _REPOSITORY / "common/fadewatch_common",
    "/usr/bin/fadewatch-agent": Path(__file__).parent / "guest/fadewatch-agent",
}
