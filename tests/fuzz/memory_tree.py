"""A tree of files in memory that stands in for paths: a fuzzer has no time for disks."""

import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import BinaryIO


@dataclass(frozen=True, slots=True, order=True)
class MemoryPath:
    """What the readers ask of a ``Path``, over a mapping of names to contents."""

    text: str
    files: "Files"

    def __truediv__(self, name: str) -> "MemoryPath":
        return MemoryPath(f"{self.text}/{name}", self.files)

    def __fspath__(self) -> str:
        return self.text

    @property
    def name(self) -> str:
        return self.text.rpartition("/")[2]

    def is_dir(self) -> bool:
        return self.text in self.files.folders

    def is_file(self) -> bool:
        return self.text in self.files.contents

    def exists(self) -> bool:
        return self.is_dir() or self.is_file()

    def iterdir(self) -> Iterator["MemoryPath"]:
        if not self.is_dir():
            raise FileNotFoundError(2, "No such file or directory", self.text)
        return (self / name for name in self.files.folders[self.text])

    def open(self, mode: str, buffering: int = -1) -> BinaryIO:
        assert (mode, buffering) == ("rb", 0)
        try:
            return io.BytesIO(self.files.contents[self.text])
        except KeyError:
            raise FileNotFoundError(2, "No such file or directory", self.text) from None


class Files:
    """Contents by path, and the entries of each folder above them."""

    __slots__ = ("contents", "folders")

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self.contents = {f"/tree/{path}": held for path, held in contents.items()}
        self.folders: dict[str, set[str]] = {}
        for path in self.contents:
            folder = path
            while "/" in folder:
                folder, _, name = folder.rpartition("/")
                self.folders.setdefault(folder, set()).add(name)

    def __lt__(self, other: object) -> bool:
        return False

    @property
    def root(self) -> MemoryPath:
        return MemoryPath("/tree", self)
