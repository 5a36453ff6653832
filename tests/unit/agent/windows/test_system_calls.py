"""What the calls do with errors that a library can give but a laptop seldom does."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest

from fadewatch_agent.readers.windows import system_calls
from fadewatch_agent.readers.windows.calls import LONGEST_REPLY, CallFailed
from fadewatch_agent.readers.windows.system_calls import Libraries, SystemCalls


class Windows:
    """Functions by name; each call without an own one fails with the error set."""

    def __init__(self, error: int, **own: Callable[..., int]) -> None:
        self.error = error
        self.counts: dict[str, int] = {}
        self.own = own

    def calls(self) -> SystemCalls:
        names = [*system_calls._KERNEL, *system_calls._SETUP]
        library = SimpleNamespace(**{name: self._function(name) for name in names})
        return SystemCalls(Libraries(library, library, lambda: self.error))

    def _function(self, name: str) -> Callable[..., int]:
        def function(*arguments: Any) -> int:
            self.counts[name] = self.counts.get(name, 0) + 1
            own = self.own.get(name)
            return own(*arguments) if own else 0

        return function


@pytest.mark.parametrize("error", [122, 234])
def test_a_reply_that_does_not_fit_is_asked_for_again_with_more_room(
    error: int,
) -> None:
    rooms: list[int] = []

    def control(*arguments: Any) -> int:
        _, _, request, size, reply, room, given, _ = arguments
        assert (request, size) == (b"ask", 3)
        rooms.append(room)
        if room < 30:
            return 0
        reply[:5] = b"reply"
        given._obj.value = 5
        return 1

    windows = Windows(error, DeviceIoControl=control)

    assert windows.calls().control(7, 1, b"ask", 4) == b"reply"
    assert rooms == [4, 8, 16, 32]


@pytest.mark.parametrize("error", [122, 234])
def test_a_reply_without_end_is_given_up(error: int) -> None:
    windows = Windows(error)

    with pytest.raises(CallFailed) as failure:
        windows.calls().control(7, 1, b"", 4)

    assert failure.value.code == error
    assert 4 * 2 ** (windows.counts["DeviceIoControl"] - 1) == LONGEST_REPLY


@pytest.mark.parametrize("error", [1, 2, 5, 21, 1117])
def test_any_other_refusal_is_asked_once(error: int) -> None:
    windows = Windows(error)

    with pytest.raises(CallFailed, match=rf"\(error {error}\)"):
        windows.calls().control(7, 1, b"", 4)

    assert windows.counts["DeviceIoControl"] == 1


def test_a_driver_that_claims_more_than_the_room_gives_no_more_than_the_room() -> None:
    def control(*arguments: Any) -> int:
        arguments[6]._obj.value = 9999
        return 1

    assert len(Windows(0, DeviceIoControl=control).calls().control(7, 1, b"", 16)) == 16


@pytest.mark.parametrize("error", [5, 1168])
def test_a_listing_that_breaks_off_is_told_and_given_back(error: int) -> None:
    windows = Windows(error, SetupDiGetClassDevsW=lambda *_: 1)

    paths = windows.calls().paths(bytes(16))

    assert paths.found == ()
    assert [failure.code for failure in paths.failed] == [error]
    assert windows.counts["SetupDiDestroyDeviceInfoList"] == 1


def test_a_listing_without_end_is_given_up() -> None:
    windows = Windows(
        5, SetupDiGetClassDevsW=lambda *_: 1, SetupDiEnumDeviceInterfaces=lambda *_: 1
    )

    paths = windows.calls().paths(bytes(16))

    assert paths.found == ()
    assert len(paths.failed) == 256


@pytest.mark.parametrize("size", [0, 4, LONGEST_REPLY + 1])
def test_a_path_of_an_impossible_size_is_not_read(size: int) -> None:
    def detail(*arguments: Any) -> int:
        arguments[4]._obj.value = size
        return 0

    def enumerate_one(*arguments: Any) -> int:
        return int(arguments[3] == 0)

    windows = Windows(
        122,
        SetupDiGetClassDevsW=lambda *_: 1,
        SetupDiEnumDeviceInterfaces=enumerate_one,
        SetupDiGetDeviceInterfaceDetailW=detail,
    )

    assert windows.calls().paths(bytes(16)).found == ()


def test_an_invalid_handle_is_a_failure_and_is_not_closed() -> None:
    windows = Windows(5, CreateFileW=lambda *_: 2**64 - 1)

    with pytest.raises(CallFailed), windows.calls().opened("x", 0):
        pass

    assert "CloseHandle" not in windows.counts


def test_tables_that_keep_growing_are_given_up() -> None:
    windows = Windows(0, GetSystemFirmwareTable=lambda *arguments: arguments[3] + 8)

    with pytest.raises(CallFailed):
        windows.calls().firmware_table()

    assert windows.counts["GetSystemFirmwareTable"] < 10


@pytest.mark.parametrize("error", [5, 234])
def test_a_name_that_is_not_told_is_a_failure(error: int) -> None:
    windows = Windows(error)

    with pytest.raises(CallFailed):
        windows.calls().computer_name()

    assert windows.counts["GetComputerNameExW"] < 10


@pytest.mark.parametrize(
    "ask",
    [
        SystemCalls.power_status,
        SystemCalls.installed_memory_kib,
        SystemCalls.usable_memory_bytes,
        SystemCalls.firmware_table,
    ],
)
def test_every_refused_question_says_so(ask: Callable[[SystemCalls], object]) -> None:
    with pytest.raises(CallFailed, match="the device does not work"):
        ask(Windows(31).calls())
