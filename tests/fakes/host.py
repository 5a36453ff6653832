"""A machine in memory, set up by the agent's installer."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import PurePath

from fadewatch_agent.installation.host import Ran


@dataclass
class FakeHost:
    """Files by place, and every program that was run; ``refuses`` names what fails."""

    platform: str = "linux"
    is_running: bool = True
    has_rights: bool = True
    refuses: frozenset[str] = frozenset()
    files: dict[PurePath, bytes] = field(default_factory=dict)
    modes: dict[PurePath, int] = field(default_factory=dict)
    links: dict[PurePath, str] = field(default_factory=dict)
    folders: set[PurePath] = field(default_factory=set)
    ran: list[tuple[str, ...]] = field(default_factory=list)
    written: list[PurePath] = field(default_factory=list)

    def read(self, place: PurePath) -> bytes | None:
        return self.files.get(place)

    def write(self, place: PurePath, content: bytes, mode: int) -> None:
        self.files[place], self.modes[place] = content, mode
        self.written.append(place)

    def link(self, place: PurePath, target: str) -> None:
        self.links[place] = target

    def mode(self, place: PurePath) -> int | None:
        return 0o755 if place in self.folders else self.modes.get(place)

    def ensure_folder(self, place: PurePath) -> None:
        self.folders.add(place)

    def below(self, place: PurePath) -> list[str]:
        inside = [p for p in self._all() if p != place and p.is_relative_to(place)]
        return sorted(str(p.relative_to(place)) for p in inside)

    def remove(self, place: PurePath) -> None:
        for known in [p for p in self._all() if p.is_relative_to(place)]:
            self.files.pop(known, None)
            self.modes.pop(known, None)
            self.links.pop(known, None)
            self.folders.discard(known)

    def run(self, words: Sequence[str]) -> Ran:
        self.ran.append(tuple(words))
        return Ran(1, "no") if words[0] in self.refuses else Ran(0, "")

    def may_set_up(self) -> bool:
        return self.has_rights

    def _all(self) -> set[PurePath]:
        return {*self.files, *self.links, *self.folders}
