"""The initramfs archive: device nodes and owners without being root."""

import stat
from collections.abc import Callable
from io import BytesIO
from pathlib import Path, PurePosixPath

# Linux, Documentation/driver-api/early-userspace/buffer-format.rst: "newc".
_MAGIC = b"070701"
_HEADER_BYTES = 110


def _keep_all(path: PurePosixPath) -> bool:
    return bool(path.parts)


class Archive:
    """An archive in the kernel's ``newc`` format, filled entry by entry.

    Parents are added by themselves. Archives may be joined end to end: the kernel
    unpacks them in order, and a later entry replaces an earlier one.
    """

    def __init__(self) -> None:
        self._out = BytesIO()
        self._count = 0
        self._folders: set[PurePosixPath] = {PurePosixPath()}

    def add_folder(self, path: str) -> None:
        """Add a folder, and those above it, unless it is there already."""
        folder = PurePosixPath(path.strip("/"))
        if folder in self._folders:
            return
        self._folders.add(folder)
        self._entry(folder, stat.S_IFDIR | 0o755)

    def add_file(self, path: str, content: bytes, mode: int = 0o644) -> None:
        """Add a file."""
        self._entry(PurePosixPath(path.strip("/")), stat.S_IFREG | mode, content)

    def add_link(self, path: str, target: str) -> None:
        """Add a symbolic link."""
        place = PurePosixPath(path.strip("/"))
        self._entry(place, stat.S_IFLNK | 0o777, target.encode())

    def add_device(self, path: str, mode: int, number: tuple[int, int]) -> None:
        """Add a character device."""
        place = PurePosixPath(path.strip("/"))
        self._entry(place, stat.S_IFCHR | mode, device=number)

    def add_tree(
        self,
        source: Path,
        path: str,
        keep: Callable[[PurePosixPath], bool] = _keep_all,
    ) -> None:
        """Add what lies under a folder of this machine.

        `keep` is asked with each path below the folder; what lies in a folder that
        it refuses is left out too.
        """
        for item in sorted(source.iterdir()):
            inside = PurePosixPath(path, item.name)
            if not keep(inside):
                continue
            if item.is_symlink():
                self.add_link(str(inside), str(item.readlink()))
            elif item.is_dir():
                self.add_folder(str(inside))
                self.add_tree(item, str(inside), keep)
            else:
                mode = stat.S_IMODE(item.stat().st_mode) | 0o444
                self.add_file(str(inside), item.read_bytes(), mode)

    def finished(self) -> bytes:
        """Return the archive with its end mark."""
        end = BytesIO(self._out.getvalue())
        end.seek(0, 2)
        end.write(_packed("TRAILER!!!", 0, 0, b"", (0, 0)))
        end.write(b"\0" * (-end.tell() % 512))
        return end.getvalue()

    def _entry(
        self,
        path: PurePosixPath,
        mode: int,
        content: bytes = b"",
        device: tuple[int, int] = (0, 0),
    ) -> None:
        self.add_folder(str(path.parent))
        self._count += 1
        self._out.write(_packed(str(path), self._count, mode, content, device))


def _packed(
    name: str, inode: int, mode: int, content: bytes, device: tuple[int, int]
) -> bytes:
    raw = name.encode() + b"\0"
    numbers = (inode, mode, 0, 0, 1, 0, len(content), 0, 0, *device, len(raw), 0)
    head = _MAGIC + b"".join(b"%08X" % number for number in numbers) + raw
    padding = b"\0" * (-(_HEADER_BYTES + len(raw)) % 4)
    return head + padding + content + b"\0" * (-len(content) % 4)
