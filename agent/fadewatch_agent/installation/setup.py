"""Set the agent up, and take it away again; both may be done as often as one likes."""

from collections.abc import Iterable, Sequence
from pathlib import PurePath, PureWindowsPath

from fadewatch_agent.errors import InvalidConfiguration, NotSetUp
from fadewatch_agent.installation import launchd, systemd, task_scheduler
from fadewatch_agent.installation.host import Host
from fadewatch_agent.installation.plan import PlannedFile, Schedule, Step
from fadewatch_agent.installation.program import COMMAND, Program
from fadewatch_agent.installation.settings_text import settings_text
from fadewatch_agent.installation.traces import trace_places
from fadewatch_agent.installation.wishes import Wishes
from fadewatch_agent.periods import DEFAULT, minutes_of
from fadewatch_agent.places import Places

_OPEN_MODE, _SECRET_MODE = 0o644, 0o600


def install(
    host: Host, places: Places, program: Program, wanted: Wishes, *, image: bool
) -> None:
    """Set the agent up under the system's own timer.

    Parameters
    ----------
    image
        Prepare an image: nothing is started, and what an earlier run of the agent
        left on this machine is removed.

    Raises
    ------
    InvalidConfiguration
        There is neither a token nor a key, so the laptop could never enrol.
    NotSetUp
        This account may not, or the operating system did not take it.
    """
    _must_be_able(host)
    schedule = schedule_of(
        host.platform, program.command, places, wanted.settings.every_minutes
    )
    may_enrol = wanted.token or host.read(places.token)
    if not may_enrol and (image or not _is_enrolled(host, places)):
        raise InvalidConfiguration(
            "there is no token, so this laptop could not enrol: give --token-file"
        )
    if image:
        _run(host, schedule.stop)
        forget(host, places)
    else:
        _run(host, schedule.before)
    _put(host, (*program.files, *_own_files(places, wanted), *schedule.files))
    if host.platform != "linux":
        # On Linux the service manager makes it, for the service's own account.
        host.ensure_folder(places.state)
    _run(host, (*program.after, *schedule.after))
    if not image:
        _run(host, schedule.start)


def uninstall(host: Host, places: Places, *, keep_state: bool) -> None:
    """Take the timer, the settings, the key, the queue and the program away.

    Parameters
    ----------
    keep_state
        Leave the key and the queue, for an installation to come.

    Raises
    ------
    NotSetUp
        This account may not.
    """
    _must_be_able(host)
    schedule = schedule_of(host.platform, ("",), places, minutes_of(DEFAULT))
    _run(host, schedule.stop)
    for file in schedule.files:
        host.remove(file.place)
    for place in (places.settings, places.token, places.ca):
        host.remove(place)
    if not keep_state:
        forget(host, places)
    # The command is ours only where it starts the program that goes with it.
    if str(places.program).encode() in (host.read(COMMAND) or b""):
        host.remove(COMMAND)
    host.remove(places.program)
    for folder in (places.settings.parent, *_task_folders(places)):
        if not host.below(folder):
            host.remove(folder)
    _run(host, schedule.gone)


def forget(host: Host, places: Places) -> None:
    """Remove all that belongs to one laptop: key, queue, readings, times."""
    for place in trace_places(host.platform, places):
        host.remove(place)


def schedule_of(
    platform: str, command: Sequence[str], places: Places, minutes: int
) -> Schedule:
    """Return how this system's timer is set up.

    Raises
    ------
    NotSetUp
        There is no way to set the agent up on such a system.
    """
    if platform == "linux":
        line = systemd.quoted(*command)
        return systemd.schedule(line, places.settings, places.token, minutes)
    if platform == "darwin":
        return launchd.schedule(command, minutes)
    if platform == "win32":
        folder = PureWindowsPath(places.settings.parent)
        state = PureWindowsPath(places.state)
        return task_scheduler.schedule(command, folder, state, minutes)
    raise NotSetUp(
        f"there is no timer to set up on {platform!r}; keep "
        "'fadewatch-agent watch' running there"
    )


def _must_be_able(host: Host) -> None:
    if not host.may_set_up():
        raise NotSetUp("this takes the rights of root, or of an administrator")
    if host.platform != "linux" or not host.is_running:
        return
    if host.mode(systemd.RUNNING) is None:
        raise NotSetUp(
            "systemd does not run this machine; keep 'fadewatch-agent watch' running "
            "under its own service manager, or name a mounted image with --destination"
        )


def _is_enrolled(host: Host, places: Places) -> bool:
    folders = (places.state, systemd.PRIVATE_STATE)
    return any(host.read(folder / "enrolment.json") for folder in folders)


def _own_files(places: Places, wanted: Wishes) -> tuple[PlannedFile, ...]:
    ca = None if wanted.ca is None else places.ca
    text = settings_text(wanted.settings, ca)
    files = [PlannedFile(places.settings, text.encode(), _OPEN_MODE)]
    if wanted.ca is not None:
        files.append(PlannedFile(places.ca, wanted.ca, _OPEN_MODE))
    if wanted.token is not None:
        content = f"{wanted.token}\n".encode()
        files.append(PlannedFile(places.token, content, _SECRET_MODE))
    return tuple(files)


def _put(host: Host, files: Iterable[PlannedFile]) -> None:
    """Put files in place; what is as it should be is left alone."""
    for file in files:
        if file.link is not None:
            host.link(file.place, file.link)
        elif (host.read(file.place), host.mode(file.place)) != file[1:3]:
            host.write(file.place, file.content, file.mode)


def _run(host: Host, steps: Iterable[Step]) -> None:
    if not host.is_running:
        return
    for one in steps:
        ran = host.run(one.words)
        if ran.status and not one.may_fail:
            raise NotSetUp(f"{' '.join(one.words[:2])} failed: {ran.said[:300]}")


def _task_folders(places: Places) -> tuple[PurePath, ...]:
    return (places.state,) if isinstance(places.state, PureWindowsPath) else ()
