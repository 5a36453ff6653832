"""Real calls through ctypes against a library that stands for Windows."""

import ctypes
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fadewatch_agent.readers.windows.calls import CallFailed
from fadewatch_agent.readers.windows.layout import GUID_DEVICE_BATTERY
from fadewatch_agent.readers.windows.system_calls import SystemCalls
from tests.windows import stub, stubbed

pytestmark = pytest.mark.skipif(
    not stub.has(stub.NATIVE), reason="no C compiler here to build the stub with"
)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    folder: Path = tmp_path_factory.mktemp("stub")
    return ctypes.CDLL(str(stub.build(stub.NATIVE, folder / "stub.so")))


@pytest.fixture
def last_error(library: ctypes.CDLL) -> Callable[[], int]:
    asked: Callable[[], int] = library.Stub_GetLastError
    return asked


def test_the_stubs_laptop_is_read_and_everything_is_closed(
    library: ctypes.CDLL, last_error: Callable[[], int]
) -> None:
    told = stubbed.told(library, last_error)

    assert json.loads(json.dumps(told)) == stubbed.EXPECTED


def test_a_failure_in_the_middle_still_closes_the_device(
    library: ctypes.CDLL, last_error: Callable[[], int]
) -> None:
    library.Stub_Reset()
    through = stubbed.calls(library, last_error)
    path = through.paths(GUID_DEVICE_BATTERY).found[0]

    def ask_for_nonsense(through: SystemCalls) -> None:
        with through.opened(path, 0x80000000) as device:
            device.ask(0x1234, b"", 4)

    with pytest.raises(CallFailed) as failure:
        ask_for_nonsense(through)

    assert failure.value.code == 87
    assert library.Stub_Open() == 0


@pytest.mark.parametrize(
    ("ask", "code"),
    [
        (lambda calls: calls.paths(bytes(16)), 13),
        (lambda calls: calls.opened("\\\\?\\other", 0x80000000).__enter__(), 2),
        (lambda calls: calls.installed_memory_kib(), 13),
    ],
    ids=["unknown kind", "unknown path", "unknown memory"],
)
def test_the_reason_of_a_refusal_comes_through(
    library: ctypes.CDLL,
    last_error: Callable[[], int],
    ask: Callable[[SystemCalls], Any],
    code: int,
) -> None:
    with pytest.raises(CallFailed) as failure:
        ask(stubbed.calls(library, last_error))

    assert failure.value.code == code
