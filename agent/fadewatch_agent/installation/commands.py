"""The commands ``install``, ``uninstall``, ``check-image`` and ``verify``."""

import sys
from collections.abc import Mapping
from pathlib import Path

from fadewatch_agent.bundle import bundle_root, read_bundle, verify
from fadewatch_agent.configuration import parse_settings
from fadewatch_agent.errors import InvalidConfiguration
from fadewatch_agent.installation import systemd
from fadewatch_agent.installation.host import Host, ThisHost
from fadewatch_agent.installation.program import this_program
from fadewatch_agent.installation.setup import install, schedule_of, uninstall
from fadewatch_agent.installation.traces import image_problems
from fadewatch_agent.installation.wishes import DROPPED, Kept, wishes
from fadewatch_agent.periods import DEFAULT, minutes_of
from fadewatch_agent.places import Places, here
from fadewatch_agent.secret import read_token_descriptor, read_token_file

Values = Mapping[str, str]

_OPTIONS = ("collector", "ca", "proxy", "every")


def run_install(values: Values) -> None:
    """Set the agent up as the command line says."""
    host, places = _host(values), here(sys.platform)
    beside = bundle_root()
    dropped = (beside.parent if beside.is_file() else beside) / DROPPED
    wanted = wishes(
        {name: values[name] for name in _OPTIONS if name in values},
        _token(values),
        dropped,
        _before(host, places),
    )
    program = this_program(places, _root(values))
    install(host, places, program, wanted, image="image" in values)


def run_uninstall(values: Values) -> None:
    """Take the agent away as the command line says."""
    places = here(sys.platform)
    uninstall(_host(values), places, keep_state="keep-state" in values)


def run_check_image(values: Values) -> list[str]:
    """Return what is wrong with the image."""
    host, places = _host(values), here(sys.platform)
    schedule = schedule_of(host.platform, ("",), places, minutes_of(DEFAULT))
    files = [schedule.files[0].place]
    if sys.platform == "linux":
        files.append(systemd.PACKAGED_UNITS / files[0].name)
    there = next((file for file in files if host.read(file) is not None), files[0])
    return image_problems(host, places, there)


def run_verify() -> tuple[str, tuple[str, ...]]:
    """Return a sentence on the bundle, and what is wrong with it."""
    bundle = read_bundle(bundle_root())
    verdict = verify(bundle)
    return (
        f"{bundle.root}: {verdict.files} files, manifest {verdict.digest}",
        verdict.problems,
    )


def _host(values: Values) -> Host:
    root = _root(values)
    if not root.is_dir():
        raise InvalidConfiguration(f"--destination {root} is not a folder")
    return ThisHost(root if "destination" in values else None)


def _root(values: Values) -> Path:
    return Path(values.get("destination", "/"))


def _token(values: Values) -> str | None:
    if "token-descriptor" in values:
        text = values["token-descriptor"]
        if not text.isascii() or not text.isdigit():
            raise InvalidConfiguration("--token-descriptor needs a number")
        return read_token_descriptor(int(text))
    file = values.get("token-file")
    return None if file is None else read_token_file(Path(file))


def _before(host: Host, places: Places) -> Kept:
    """Return what an earlier installation, or a person, has put in place."""
    raw = host.read(places.settings)
    if raw is None:
        return Kept()
    values = parse_settings(raw.decode("utf-8-sig", "replace"), str(places.settings))
    token, ca = values.pop("token", None), values.pop("ca", None)
    values.pop("token_file", None)
    return Kept(
        values=values,
        token=None if host.read(places.token) else token,
        ca=None if ca is None else host.read(type(places.ca)(ca)),
    )
