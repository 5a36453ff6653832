"""The saved trees are what a kernel shows today."""

from collections.abc import Mapping

import pytest

from tests.fixtures.trees import TREES, UNREADABLE, unreadable_files
from tests.kernel.image import Image
from tests.kernel.record import Recording, recorded, trees
from tests.kernel.situations import EVERY_SITUATION, WITHOUT_PACK

pytestmark = [pytest.mark.kernel, pytest.mark.timeout(120)]

Trees = dict[str, Recording]


@pytest.fixture(scope="module")
def kernel_trees(image: Image, tmp_path_factory: pytest.TempPathFactory) -> Trees:
    folder = tmp_path_factory.mktemp("guest")
    everything = recorded(image, EVERY_SITUATION, "root", folder)
    unprivileged = recorded(image, WITHOUT_PACK, "agent", folder)
    return trees(everything, unprivileged)


@pytest.mark.parametrize("name", sorted(tree.name for tree in TREES.glob("*/")))
def test_a_saved_tree_is_what_the_kernel_shows(name: str, kernel_trees: Trees) -> None:
    shown = kernel_trees[name]

    assert saved_contents(name) == lasting(shown.contents)
    assert unreadable_files(name) == shown.errors


def saved_contents(name: str) -> dict[str, bytes]:
    tree = TREES / name
    files = [file for file in tree.rglob("*") if file.is_file()]
    return lasting(
        {
            file.relative_to(tree).as_posix(): file.read_bytes()
            for file in files
            if file.name != UNREADABLE
        }
    )


def lasting(contents: Mapping[str, bytes]) -> dict[str, bytes]:
    """Leave out the kernel's account of its memory, which no two boots share."""
    return {path: told for path, told in contents.items() if path != "proc/meminfo"}
