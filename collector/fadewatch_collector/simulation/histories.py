"""Simulated histories of a whole fleet."""

from datetime import date

from fadewatch_collector.simulation.fleet import OFFICE, Fleet, Mix


def simulate(
    packs: int, *, days: int = 365, end: date, seed: int, mix: Mix = OFFICE
) -> Fleet:
    """Simulate a fleet's histories over `days` days up to and with `end`.

    Parameters
    ----------
    packs
        How many histories, at least 1.
    days
        Length of the window, at least 1.
    end
        Last day of the window.
    seed
        The same arguments always give the same fleet.
    mix
        How often each phenomenon occurs.
    """
    raise NotImplementedError
