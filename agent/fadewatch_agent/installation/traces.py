"""What belongs to one laptop and must not be in an image."""

from pathlib import PurePath

from fadewatch_agent.configuration import parse_settings
from fadewatch_agent.errors import InvalidConfiguration
from fadewatch_agent.installation import systemd
from fadewatch_agent.installation.host import Host
from fadewatch_agent.places import Places

_KNOWN = {
    "bench.json": "what a collector said of the laptop that the image is made on",
    "enrolment.json": "the key and the identity of the laptop that the image is made on",
    "spool.sqlite": "readings that wait for delivery",
    "state.json": "what the last run saw, among it the packs' identities",
}
_READABLE_BY_ALL = 0o004


def trace_places(platform: str, places: Places) -> tuple[PurePath, ...]:
    """Return where a laptop's own traces are."""
    if platform != "linux":
        return (places.state,)
    return (places.state, systemd.PRIVATE_STATE, systemd.STAMP)


def image_problems(host: Host, places: Places, schedule: PurePath) -> list[str]:
    """Say what is wrong with an image; nothing when it may be copied.

    Parameters
    ----------
    schedule
        The file that tells the system's timer of the agent.
    """
    problems = [
        sentence
        for place in trace_places(host.platform, places)
        for sentence in _traces(host, place)
    ]
    problems += _settings_problems(host, places)
    if host.read(schedule) is None:
        problems.append(f"{schedule} is missing: nothing would start the agent")
    return problems


def _traces(host: Host, place: PurePath) -> list[str]:
    names = host.below(place)
    if not names and host.read(place) is not None:
        return [f"{place} is there: when the timer of this laptop last fired"]
    return [
        f"{place / name} is there: {_KNOWN.get(name, 'left by a run of the agent')}"
        for name in names
    ]


def _settings_problems(host: Host, places: Places) -> list[str]:
    raw = host.read(places.settings)
    if raw is None:
        return [f"{places.settings} is missing: laptops would not know their collector"]
    try:
        values = parse_settings(
            raw.decode("utf-8-sig", "replace"), str(places.settings)
        )
    except InvalidConfiguration as error:
        return [str(error)]
    problems = []
    if not values.get("collector"):
        problems.append(f"{places.settings} names no collector")
    inside = bool(values.get("token"))
    if not inside and not (host.read(places.token) or b"").strip():
        problems.append(f"{places.token} holds no token: laptops could not enrol")
    holder = places.settings if inside else places.token
    # Windows keeps rights elsewhere than in these bits; install sets them there.
    if host.platform != "win32" and (host.mode(holder) or 0) & _READABLE_BY_ALL:
        problems.append(f"{holder} holds the token and every user may read it")
    return problems
