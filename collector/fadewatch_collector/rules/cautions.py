"""Cautions that go with a pack that must not be used: the agent says the same."""

from fadewatch_common.cautions import FIGURES_ARE_A_PROXY, STOP_USE_CAUTIONS

__all__ = ["FIGURES_ARE_A_PROXY", "STOP_USE_CAUTIONS"]
