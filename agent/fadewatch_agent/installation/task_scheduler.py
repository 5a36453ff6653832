"""A task for the Task Scheduler of Windows. Pure: what is wanted in, XML out.

References
----------
Microsoft, *Task Scheduler Schema*, namespace
``http://schemas.microsoft.com/windows/2004/02/mit/task``; order of the elements as its
types ask for it.
"""

from collections.abc import Sequence
from pathlib import PureWindowsPath
from xml.sax.saxutils import escape

from fadewatch_agent.installation.plan import (
    SPREAD,
    PlannedFile,
    Schedule,
    Step,
    delay_minutes,
    step,
)

TASK = r"\Fadewatch\Report"

LOCAL_SERVICE = "S-1-5-19"
_SYSTEM, _ADMINISTRATORS = "S-1-5-18", "S-1-5-32-544"

_XML = """\
<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo>
    <Description>Fadewatch agent: read this laptop's packs and report them</Description>
    <URI>{task}</URI>
  </RegistrationInfo>
  <Triggers>
    <BootTrigger>
      <Enabled>true</Enabled>
      <Delay>PT1M</Delay>
    </BootTrigger>
    <TimeTrigger>
      <Repetition>
        <Interval>PT{minutes}M</Interval>
        <StopAtDurationEnd>false</StopAtDurationEnd>
      </Repetition>
      <StartBoundary>2026-01-01T00:00:00</StartBoundary>
      <Enabled>true</Enabled>
      <RandomDelay>PT{delay}M</RandomDelay>
    </TimeTrigger>
  </Triggers>
  <Principals>
    <Principal id="Service">
      <UserId>{account}</UserId>
      <RunLevel>LeastPrivilege</RunLevel>
    </Principal>
  </Principals>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <AllowHardTerminate>true</AllowHardTerminate>
    <StartWhenAvailable>true</StartWhenAvailable>
    <RunOnlyIfNetworkAvailable>false</RunOnlyIfNetworkAvailable>
    <AllowStartOnDemand>true</AllowStartOnDemand>
    <Enabled>true</Enabled>
    <Hidden>false</Hidden>
    <RunOnlyIfIdle>false</RunOnlyIfIdle>
    <WakeToRun>false</WakeToRun>
    <ExecutionTimeLimit>PT15M</ExecutionTimeLimit>
    <Priority>8</Priority>
  </Settings>
  <Actions Context="Service">
    <Exec>
      <Command>{program}</Command>
      <Arguments>{arguments}</Arguments>
    </Exec>
  </Actions>
</Task>
"""


def task(command: Sequence[str], minutes: int) -> str:
    """Return the task as XML.

    Parameters
    ----------
    command
        The program and its arguments.
    minutes
        Period [min].
    """
    program, *arguments = command
    given = [*arguments, "report", "--spread", SPREAD]
    return _XML.format(
        task=TASK,
        minutes=minutes,
        delay=delay_minutes(minutes),
        account=LOCAL_SERVICE,
        program=escape(program),
        arguments=escape(" ".join(map(_quoted, given))),
    )


def schedule(
    command: Sequence[str],
    folder: PureWindowsPath,
    state: PureWindowsPath,
    minutes: int,
) -> Schedule:
    """Return the task of an installation and what makes it count.

    Parameters
    ----------
    folder
        Where the settings and the task's description stand.
    """
    file = folder / "task.xml"
    # The scheduler wants the encoding that the XML names, with its mark.
    content = task(command, minutes).replace("\n", "\r\n").encode("utf-16")
    return Schedule(
        files=(PlannedFile(file, content),),
        after=(
            *_rights(folder, state),
            step("schtasks", "/Create", "/TN", TASK, "/XML", str(file), "/F"),
        ),
        start=(step("schtasks", "/Run", "/TN", TASK),),
        stop=(
            step("schtasks", "/End", "/TN", TASK, may_fail=True),
            step("schtasks", "/Delete", "/TN", TASK, "/F", may_fail=True),
        ),
    )


def _rights(folder: PureWindowsPath, state: PureWindowsPath) -> tuple[Step, ...]:
    """Let the service read its settings and write its state, and no user either."""
    everything = [f"*{sid}:(OI)(CI)F" for sid in (_SYSTEM, _ADMINISTRATORS)]

    def granted(place: PureWindowsPath, right: str) -> Step:
        own = f"*{LOCAL_SERVICE}:(OI)(CI){right}"
        given = ("/inheritance:r", "/grant:r", *everything, own)
        return step("icacls", str(place), *given, "/Q")

    return granted(folder, "RX"), granted(state, "M")


def _quoted(word: str) -> str:
    # As the C run-time splits it; a path or option holds no quotation mark.
    return f'"{word}"' if " " in word else word
