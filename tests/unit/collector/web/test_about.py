"""What the page about the collector says of its rounds."""

from fadewatch_collector.usecases.rounds import ROUNDS
from fadewatch_collector.web.about import ROUND_WORDS


def test_every_round_has_words_of_its_own() -> None:
    assert set(ROUND_WORDS) == {work.name for work in ROUNDS}
