"""A guest for each test that asks for one."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.kernel.image import Image, ready_image
from tests.kernel.machine import Job, Laptop, Outcome, run
from tests.kernel.packages import KernelTestsUnavailableError

Boot = Callable[[Laptop, Job], Outcome]


@pytest.fixture(scope="session")
def image() -> Image:
    """Return what the guests boot, or skip where it cannot be had."""
    try:
        return ready_image()
    except KernelTestsUnavailableError as reason:
        pytest.skip(f"no emulated kernel here: {reason}")


@pytest.fixture(scope="module")
def boot(image: Image, tmp_path_factory: pytest.TempPathFactory) -> Boot:
    """Return a function that boots a laptop and does a job on it."""

    def boot_laptop(laptop: Laptop, job: Job) -> Outcome:
        folder: Path = tmp_path_factory.mktemp("guest")
        return run(image, laptop, job, folder)

    return boot_laptop
