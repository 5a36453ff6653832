"""The resident loop keeps its period, asleep or with a clock that jumps."""

from dataclasses import dataclass, field

from fadewatch_agent.watching import LONGEST_NAP, Rhythm, wait_until_due

HOUR = 3600.0


@dataclass
class Wall:
    """A clock that goes on by what is slept, and jumps where it is told to."""

    now: float = 1_000_000.0
    jumps: dict[int, float] = field(default_factory=dict)
    naps: list[float] = field(default_factory=list)

    def pause(self, seconds: float) -> None:
        self.naps.append(seconds)
        self.now += seconds + self.jumps.get(len(self.naps), 0.0)

    def rhythm(self, chance: float = 0.0) -> Rhythm:
        return Rhythm(lambda: self.now, self.pause, lambda most: most * chance)


def test_it_waits_one_period() -> None:
    wall = Wall()

    wait_until_due(HOUR, wall.rhythm())

    assert wall.now == 1_000_000.0 + HOUR
    assert max(wall.naps) <= LONGEST_NAP


def test_it_waits_a_sixth_longer_at_most() -> None:
    wall = Wall()

    wait_until_due(HOUR, wall.rhythm(chance=1.0))

    assert wall.now == 1_000_000.0 + HOUR * 7 / 6


def test_after_a_suspension_it_is_due_at_once() -> None:
    wall = Wall(jumps={3: 10 * HOUR})

    wait_until_due(HOUR, wall.rhythm())

    assert len(wall.naps) == 3


def test_a_clock_set_back_by_years_does_not_make_it_wait_for_years() -> None:
    wall = Wall(jumps={3: -200_000.0})

    wait_until_due(HOUR, wall.rhythm())

    assert len(wall.naps) == 3
