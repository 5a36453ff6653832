"""The task for Windows, read back as XML."""

from pathlib import PureWindowsPath
from xml.etree import ElementTree as ET

import pytest

from fadewatch_agent.installation.task_scheduler import schedule, task

NAMESPACE = "{http://schemas.microsoft.com/windows/2004/02/mit/task}"
COMMAND = (
    r"C:\Program Files\Fadewatch\python\python.exe",
    "-I",
    "-S",
    r"C:\Program Files\Fadewatch",
)
FOLDER = PureWindowsPath(r"C:\ProgramData\Fadewatch")


def parsed(minutes: int = 360) -> ET.Element:
    # Ours, made a moment ago.
    return ET.fromstring(task(COMMAND, minutes))  # noqa: S314


def text(path: str, minutes: int = 360) -> str | None:
    steps = "/".join(NAMESPACE + name for name in path.split("/"))
    return parsed(minutes).findtext(steps)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("Settings/StartWhenAvailable", "true"),
        ("Settings/DisallowStartIfOnBatteries", "false"),
        ("Settings/StopIfGoingOnBatteries", "false"),
        ("Settings/MultipleInstancesPolicy", "IgnoreNew"),
        ("Settings/WakeToRun", "false"),
        ("Triggers/TimeTrigger/Repetition/Interval", "PT360M"),
        ("Triggers/TimeTrigger/RandomDelay", "PT60M"),
        ("Triggers/BootTrigger/Enabled", "true"),
        # LocalService, by Microsoft's list of well-known security identifiers.
        ("Principals/Principal/UserId", "S-1-5-19"),
        ("Principals/Principal/RunLevel", "LeastPrivilege"),
        ("Actions/Exec/Command", COMMAND[0]),
        (
            "Actions/Exec/Arguments",
            r'-I -S "C:\Program Files\Fadewatch" report --spread 2m',
        ),
    ],
)
def test_the_task_says_what_it_should(path: str, value: str) -> None:
    assert text(path) == value


def test_elements_stand_in_the_order_that_the_schema_asks_for() -> None:
    # Task Scheduler Schema, taskType: a sequence for the triggers' parts, and
    # Repetition, StartBoundary, EndBoundary, ..., Enabled, RandomDelay.
    trigger = parsed().find(f"{NAMESPACE}Triggers/{NAMESPACE}TimeTrigger")
    assert trigger is not None

    assert [child.tag.removeprefix(NAMESPACE) for child in trigger] == [
        "Repetition",
        "StartBoundary",
        "Enabled",
        "RandomDelay",
    ]


def test_the_file_has_the_encoding_that_it_names() -> None:
    file = schedule(COMMAND, FOLDER, FOLDER / "state", 360).files[0]

    assert file.content[:2] == b"\xff\xfe"
    assert 'encoding="UTF-16"' in file.content.decode("utf-16")


def test_a_path_with_signs_of_xml_stays_itself() -> None:
    command = (r"C:\A & B\<python>.exe", "-I")

    parsed_again = ET.fromstring(task(command, 60))  # noqa: S314

    steps = f"{NAMESPACE}Actions/{NAMESPACE}Exec/{NAMESPACE}Command"
    assert parsed_again.findtext(steps) == command[0]
