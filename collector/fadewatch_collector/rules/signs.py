"""The physical signs that an inspection asks for: the agent names the same ones."""

from fadewatch_common.signs import NOT_A_PROOF, SIGNS

__all__ = ["NOT_A_PROOF", "SIGNS"]
