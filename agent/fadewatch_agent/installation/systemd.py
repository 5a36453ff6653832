"""Units for systemd, 247 or newer. Pure: what is wanted in, text out.

The service has no capability at all. The tables of the firmware, which Linux shows to
root alone, and the token are read by the service manager and lent to the service
(LoadCredential=); where one is missing, an empty line (SetCredential=) stands in.
"""

from pathlib import PurePath, PurePosixPath

from fadewatch_agent.installation.plan import (
    SPREAD,
    PlannedFile,
    Schedule,
    delay_minutes,
    step,
)

NAME = "fadewatch-agent"
OWN_UNITS = PurePosixPath("/etc/systemd/system")
PACKAGED_UNITS = PurePosixPath("/usr/lib/systemd/system")
STAMP = PurePosixPath("/var/lib/systemd/timers") / f"stamp-{NAME}.timer"
"""When the timer last fired, kept by systemd for Persistent=."""

PRIVATE_STATE = PurePosixPath("/var/lib/private") / NAME
"""Where the state folder of a service with DynamicUser= really is."""

RUNNING = PurePosixPath("/run/systemd/system")
"""Is there when systemd runs the machine (sd_booted(3))."""

_SERVICE = """\
[Unit]
Description=Fadewatch agent: read this laptop's packs and report them
ConditionPathExists={settings}
Wants=network-online.target
After=network-online.target

[Service]
Type=oneshot
ExecStart={command} report --config ${{CREDENTIALS_DIRECTORY}}/agent.toml --spread {spread}
# Queued and not delivered: the usual end of a run without a network.
SuccessExitStatus=4
TimeoutStartSec=15min
Nice=10
IOSchedulingClass=idle

# Root's files, lent for the time of a run.
LoadCredential=agent.toml:{settings}
LoadCredential=token:{token}
SetCredential=token:\\n
LoadCredential=DMI:/sys/firmware/dmi/tables/DMI
SetCredential=DMI:\\n
LoadCredential=smbios_entry_point:/sys/firmware/dmi/tables/smbios_entry_point
SetCredential=smbios_entry_point:\\n

DynamicUser=yes
StateDirectory={name}
StateDirectoryMode=0700
UMask=0077
CapabilityBoundingSet=
AmbientCapabilities=
NoNewPrivileges=yes
PrivateUsers=yes
PrivateDevices=yes
PrivateMounts=yes
PrivateTmp=yes
ProtectSystem=strict
ProtectHome=yes
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectProc=invisible
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
MemoryDenyWriteExecute=yes
KeyringMode=private
RemoveIPC=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
SystemCallErrorNumber=EPERM
"""

_TIMER = """\
[Unit]
Description=Fadewatch agent: read this laptop's packs every {every}

[Timer]
OnCalendar={calendar}
RandomizedDelaySec={delay}min
AccuracySec=1min
Persistent=yes

[Install]
WantedBy=timers.target
"""

_FIRST = """\
[Unit]
Description=Fadewatch agent: first reading of a laptop that is not enrolled yet
ConditionPathExists=!{state}/enrolment.json

[Timer]
OnActiveSec=20s
AccuracySec=5s
Unit={name}.service

[Install]
WantedBy=timers.target
"""

_PATH = """\
[Unit]
Description=Fadewatch agent: read as soon as its settings are dropped here

[Path]
PathChanged={settings}

[Install]
WantedBy=paths.target
"""

_WANTED_BY = {
    f"{NAME}.timer": "timers.target",
    f"{NAME}-first.timer": "timers.target",
    f"{NAME}.path": "paths.target",
}


def units(
    command: str, settings: PurePath, token: PurePath, minutes: int
) -> dict[str, str]:
    """Return the text of each unit by its name.

    Parameters
    ----------
    command
        How the agent is started, in the syntax of ``ExecStart=``.
    minutes
        Period of the timer [min].
    """
    return {
        f"{NAME}.service": _SERVICE.format(
            command=command, settings=settings, token=token, name=NAME, spread=SPREAD
        ),
        f"{NAME}.timer": _TIMER.format(
            calendar=calendar(minutes),
            delay=delay_minutes(minutes),
            every=_words(minutes),
        ),
        f"{NAME}-first.timer": _FIRST.format(state=PRIVATE_STATE, name=NAME),
        f"{NAME}.path": _PATH.format(settings=settings),
    }


def schedule(
    command: str, settings: PurePath, token: PurePath, minutes: int
) -> Schedule:
    """Return the units of an installation and what makes them count."""
    texts = units(command, settings, token, minutes)
    files = [PlannedFile(OWN_UNITS / n, text.encode()) for n, text in texts.items()]
    # What "systemctl enable" does, for a system that is not running as well.
    links = [
        PlannedFile(OWN_UNITS / f"{target}.wants" / name, link=str(OWN_UNITS / name))
        for name, target in _WANTED_BY.items()
    ]
    names = tuple(_WANTED_BY)
    ended = step("systemctl", "stop", *names, f"{NAME}.service", may_fail=True)
    reload = step("systemctl", "daemon-reload")
    return Schedule(
        files=(*files, *links),
        after=(reload,),
        start=(
            step("systemctl", "restart", *names),
            step("systemctl", "start", "--no-block", f"{NAME}.service"),
        ),
        stop=(ended,),
        gone=(reload, step("systemctl", "reset-failed", f"{NAME}*", may_fail=True)),
    )


def calendar(minutes: int) -> str:
    """Return when a period begins, as a calendar event (systemd.time(7))."""
    if minutes < 60:  # noqa: PLR2004  minutes of an hour
        return f"*-*-* *:00/{minutes}:00"
    if minutes < 1440:  # noqa: PLR2004  minutes of a day
        return f"*-*-* 00/{minutes // 60}:00:00"
    return "*-*-* 00:00:00"


def quoted(*words: PurePath | str) -> str:
    """Join words to a command line of ``ExecStart=``."""
    return " ".join(_quoted(str(word)) for word in words)


def _quoted(word: str) -> str:
    doubled = word.replace("%", "%%").replace("$", "$$")
    if not any(character in doubled for character in " \t'\"\\;"):
        return doubled
    escaped = doubled.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _words(minutes: int) -> str:
    return f"{minutes // 60} h" if minutes % 60 == 0 else f"{minutes} min"
