"""What a disk would hold after a power cut, from a trace of a program's system calls.

strace writes down every change of the files below a folder, with its data. From that, the
folder is built as it may stand after a cut at any moment: what was synced by then is
there; of what was not, any part may be: whole sectors of 512 bytes, chosen by chance.
A name (a file made, renamed or removed) is only sure once its folder was synced.

An approximation: writes to one file are not torn within a sector, a synced write is
never lost, and drives that lie about syncing are not modelled. The shared-memory file of
SQLite's log is left out, as it is built anew.
"""

import ast
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
CALLS = (
    "openat,write,pwrite64,ftruncate,fsync,fdatasync,unlink,unlinkat,rename,renameat,"
    "renameat2,sendto,sendmsg"
)
_LINE = re.compile(r"^(\d+) +(\w+)\((.*)\) += (-?\d+)")
_UNFINISHED = re.compile(r"^(\d+) +(\w+)\((.*) <unfinished \.\.\.>$")
_RESUMED = re.compile(r"^(\d+) +<\.\.\. (\w+) resumed>(.*)\) += (-?\d+)")
_FILE = re.compile(r"\d+<([^>]*)>")


def words(trace: Path) -> list[str]:
    """Return the start of a command line that traces a program."""
    return [
        "strace",
        "-f",
        "-y",
        "-xx",
        "-s",
        "4200000",
        "-e",
        f"trace={CALLS}",
        "-o",
        str(trace),
    ]


@dataclass(frozen=True, slots=True)
class Change:
    """One change, or a sync, of a file below the folder.

    Attributes
    ----------
    what
        "write", "cut", "sync", "make", "remove", "rename" or "say".
    """

    what: str
    path: str
    at: int = 0
    data: bytes = b""
    to: str = ""


def changes(trace: Path, folder: Path) -> Iterator[Change]:
    """Yield what a trace says of a folder, and what was sent to others, in order."""
    begun: dict[str, str] = {}
    for line in trace.read_text(errors="replace").splitlines():
        if unfinished := _UNFINISHED.match(line):
            begun[unfinished[1]] = unfinished[3]
            continue
        resumed = _RESUMED.match(line)
        if resumed:
            name, result = resumed[2], int(resumed[4])
            given = begun.pop(resumed[1], "") + resumed[3]
        elif whole := _LINE.match(line):
            name, given, result = whole[2], whole[3], int(whole[4])
        else:
            continue
        if result >= 0:
            yield from _change(name, given, result, str(folder))


def _change(name: str, given: str, result: int, folder: str) -> Iterator[Change]:
    del result
    if name in {"sendto", "sendmsg"} or (name == "write" and "socket:" in given):
        yield Change("say", "", data=_data(given))
    elif name in _NAMES:
        yield from _of_names(name, given, folder)
    elif _path(given).startswith(folder):
        yield _of_content(name, given)


_NAMES = {"rename", "renameat", "renameat2", "unlink", "unlinkat", "openat"}


def _of_names(name: str, given: str, folder: str) -> Iterator[Change]:
    texts = [_plain(text) for text in re.findall(r'"((?:\\x..)*)"', given)]
    if not texts[-1].startswith(folder):
        return
    if name.startswith("rename"):
        yield Change("rename", texts[0], to=texts[1])
    elif name.startswith("unlink"):
        yield Change("remove", texts[0])
    elif "O_CREAT" in given:
        yield Change("make", texts[0])


def _of_content(name: str, given: str) -> Change:
    path, last = _path(given), given.rsplit(", ", 1)[-1]
    if name == "pwrite64":
        return Change("write", path, int(last, 0), _data(given))
    if name == "write":
        return Change("write", path, -1, _data(given))
    if name == "ftruncate":
        return Change("cut", path, int(last, 0))
    return Change("sync", path)


def _path(given: str) -> str:
    found = _FILE.match(given)
    return _plain(found[1]) if found else ""


def _plain(text: str) -> str:
    return ast.literal_eval(f'b"{text}"').decode() if "\\x" in text else text


def _data(given: str) -> bytes:
    found = re.search(r'"((?:\\x..)*)"', given)
    return ast.literal_eval(f'b"{found[1]}"') if found else b""


@dataclass(slots=True)
class Held:
    """One file on the disk: what is sure of it, and what may have come since."""

    sure: bytearray = field(default_factory=bytearray)
    since: list[Change] = field(default_factory=list)

    def sync(self) -> None:
        """Make sure of everything so far."""
        for change in self.since:
            _apply(self.sure, change)
        self.since.clear()

    def after_a_cut(self, chance: random.Random) -> bytes:
        """Return what may be found: of what is not sure, any sectors."""
        found = bytearray(self.sure)
        keep = chance.random()
        for change in self.since:
            if change.what == "cut":
                if chance.random() < keep:
                    _apply(found, change)
                continue
            start = len(found) if change.at < 0 else change.at
            for offset in range(0, len(change.data), SECTOR):
                if chance.random() < keep:
                    part = change.data[offset : offset + SECTOR]
                    _apply(found, Change("write", "", start + offset, part))
        return bytes(found)


def _apply(content: bytearray, change: Change) -> None:
    if change.what == "cut":
        del content[change.at :]
        content.extend(bytes(max(0, change.at - len(content))))
        return
    at = len(content) if change.at < 0 else change.at
    content.extend(bytes(max(0, at - len(content))))
    content[at : at + len(change.data)] = change.data


class Disk:
    """A folder on a disk that keeps sure what was synced."""

    def __init__(self) -> None:
        self.now: dict[str, Held] = {}
        self.sure: dict[str, Held] = {}

    def do(self, change: Change) -> None:
        """Let one change happen."""
        if change.what == "make":
            self.now.setdefault(change.path, Held())
        elif change.what == "remove":
            self.now.pop(change.path, None)
        elif change.what == "rename":
            if change.path in self.now:
                self.now[change.to] = self.now.pop(change.path)
        elif change.what == "sync" and change.path not in self.now:
            # A folder: the names in it are sure now.
            self.sure = self._below(self.sure, change.path, keep=False)
            self.sure |= self._below(self.now, change.path, keep=True)
        elif change.what == "sync":
            self.now[change.path].sync()
            # Common file systems make a new file's name sure with its content.
            self.sure.setdefault(change.path, self.now[change.path])
        elif change.what in {"write", "cut"}:
            self.now.setdefault(change.path, Held()).since.append(change)

    @staticmethod
    def _below(files: dict[str, Held], folder: str, *, keep: bool) -> dict[str, Held]:
        return {
            path: held
            for path, held in files.items()
            if (path.rpartition("/")[0] == folder) == keep
        }

    def cut(self, chance: random.Random) -> dict[str, bytes]:
        """Return the files after a power cut at this moment."""
        found = dict(self.sure)
        for path in {*self.sure, *self.now}:
            if self.now.get(path) is not self.sure.get(path) and chance.random() < 0.5:
                if path in self.now:
                    found[path] = self.now[path]
                else:
                    found.pop(path, None)
        return {path: held.after_a_cut(chance) for path, held in found.items()}
