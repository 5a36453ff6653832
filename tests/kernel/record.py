"""Record what a kernel shows as trees for ``fadewatch-agent read --root``.

``python -m tests.kernel.record`` writes them again, from the repository's folder.
"""

import base64
import json
import shutil
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from tests.fixtures.trees import TREES, UNREADABLE
from tests.kernel.image import Image, ready_image
from tests.kernel.machine import GuestError, Job, Laptop, run
from tests.kernel.situations import BAYS, EVERY_SITUATION, WITHOUT_PACK, slot_of

_COLLECT = Path(__file__).parent / "guest/collect.py"
_SUPPLIES = "sys/class/power_supply"


@dataclass(frozen=True, slots=True)
class Recording:
    """What reading each file gave, by its path below the root folder."""

    contents: Mapping[str, bytes]
    errors: Mapping[str, str]

    def under(self, *starts: str) -> "Recording":
        """Return the part of it that lies under any of some paths."""
        return Recording(
            {path: v for path, v in self.contents.items() if path.startswith(starts)},
            {path: v for path, v in self.errors.items() if path.startswith(starts)},
        )


def recorded(
    image: Image, laptop: Laptop, account: Literal["root", "agent"], folder: Path
) -> Recording:
    """Boot a laptop and record what its kernel shows to an account."""
    job = Job(
        command="python3 -S /lab/collect.py",
        files={"/lab/collect.py": _COLLECT},
        account=account,
    )
    outcome = run(image, laptop, job, folder)
    if outcome.status != 0:
        raise GuestError(outcome.stderr)
    files: dict[str, dict[str, str]] = json.loads(outcome.stdout)
    return Recording(
        {
            path: base64.b64decode(file["content"])
            for path, file in files.items()
            if "content" in file
        },
        {path: file["error"] for path, file in files.items() if "error" in file},
    )


def trees(everything: Recording, unprivileged: Recording) -> dict[str, Recording]:
    """Return the trees to keep, by name."""
    mains = f"{_SUPPLIES}/ADP0/"
    kept = {
        situation: everything.under(mains, f"{_SUPPLIES}/{slot_of(situation)}/")
        for situation in BAYS
    }
    machine = ("proc/", "sys/block/", "sys/class/dmi/", "sys/firmware/")
    packs = tuple(f"{_SUPPLIES}/{slot_of(name)}/" for name in ("healthy", "in-mah"))
    kept["whole-laptop"] = everything.under(mains, *packs, *machine)
    kept["no-pack-unprivileged"] = unprivileged
    return kept


def save(recording: Recording, folder: Path) -> None:
    """Write a recording as a tree, in place of the one that was there."""
    shutil.rmtree(folder, ignore_errors=True)
    for path, content in recording.contents.items():
        place = folder / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
    if recording.errors:
        text = json.dumps(dict(sorted(recording.errors.items())), indent=1)
        (folder / UNREADABLE).write_text(f"{text}\n", encoding="utf-8")


def main() -> int:
    """Record every tree."""
    image = ready_image()
    with tempfile.TemporaryDirectory() as folder:
        everything = recorded(image, EVERY_SITUATION, "root", Path(folder))
        unprivileged = recorded(image, WITHOUT_PACK, "agent", Path(folder))
    for name, tree in trees(everything, unprivileged).items():
        save(tree, TREES / name)
    return 0


if __name__ == "__main__":
    sys.exit(main())
