"""The job for launchd, read back by the standard library's own reader."""

import plistlib

import pytest

from fadewatch_agent.installation.launchd import FILE, LABEL, job, schedule

COMMAND = ("/usr/local/bin/python3", "-I", "-S", "/usr/local/lib/fadewatch-agent")


def test_the_job_reports_in_the_background_and_when_it_is_loaded() -> None:
    told = plistlib.loads(job(COMMAND, 360))

    assert told["Label"] == LABEL == FILE.stem
    assert told["ProgramArguments"][:5] == [*COMMAND, "report"]
    assert told["RunAtLoad"] is True
    assert told["ProcessType"] == "Background"


@pytest.mark.parametrize(
    ("minutes", "times"),
    [
        (15, [{"Minute": m} for m in (0, 15, 30, 45)]),
        (60, [{"Hour": h, "Minute": 0} for h in range(24)]),
        (360, [{"Hour": h, "Minute": 0} for h in (0, 6, 12, 18)]),
        (1440, [{"Hour": 0, "Minute": 0}]),
    ],
)
def test_it_has_calendar_times_which_are_made_up_for_after_sleep(
    minutes: int, times: list[dict[str, int]]
) -> None:
    told = plistlib.loads(job(COMMAND, minutes))

    # launchd.plist(5): an interval that passes in sleep is lost, a calendar time not.
    assert told["StartCalendarInterval"] == times
    assert "StartInterval" not in told


def test_the_agent_waits_at_random_since_launchd_does_not() -> None:
    words = plistlib.loads(job(COMMAND, 360))["ProgramArguments"]

    assert words[words.index("--delay") + 1] == "60m"
    assert words[words.index("--spread") + 1] == "2m"


def test_an_earlier_job_is_unloaded_before_the_new_one_is_loaded() -> None:
    made = schedule(COMMAND, 360)

    assert [s.words[:2] for s in (*made.before, *made.start)] == [
        ("launchctl", "bootout"),
        ("launchctl", "bootstrap"),
    ]
    assert made.before[0].may_fail
