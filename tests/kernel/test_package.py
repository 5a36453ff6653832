"""The Debian package on a machine that systemd runs: installed, used, taken away.

The service runs as it will run on a laptop: an account of its own, no capability, and
what root alone may read lent by the service manager.
"""

import json
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fadewatch_common import __version__
from tests.bundles import REPOSITORY, SINGLE_FILE, build_bundles
from tests.kernel.collector import ObservedCollector, observed_collector
from tests.kernel.conftest import Boot
from tests.kernel.machine import COLLECTOR_URL, Job, Laptop
from tests.kernel.packs import bays_holding
from tests.kernel.situations import WORN

pytestmark = [pytest.mark.kernel, pytest.mark.timeout(600)]

NEWER = "9.9"
OFFLINE_RUNS = 4

_COMMAND = f"""
say() {{ echo "$1=$2"; }}
state=/var/lib/private/fadewatch-agent
ran() {{ sed 's/.*"ran_at": "\\([^"]*\\)".*/\\1/' $state/state.json 2>/dev/null; }}
ended() {{ [ "$(systemctl is-active fadewatch-agent.service)" != activating ]; }}
# Waits until the service has run since the moment that is given.
until_run() {{
  tries=0
  while [ "$(ran)" = "$1" ] || ! ended; do
    sleep 0.2
    tries=$((tries + 1))
    [ $tries -lt 150 ] || {{ say late "$1"; return; }}
  done
}}

/usr/bin/dpkg --force-bad-path -i /lab/agent.deb >&2 || exit 1
say idle_before_settings "$(systemctl is-active fadewatch-agent.service)"
say timer "$(systemctl is-active fadewatch-agent.timer)"

# The unit as it is shipped, but for its two random waits.
mkdir -p /etc/systemd/system/fadewatch-agent.service.d
unit=/usr/lib/systemd/system/fadewatch-agent.service
command=$(grep ^ExecStart= $unit)
printf '[Service]\\nExecStart=\\n%s --spread 1s --patience 1\\n' "$command" \\
  > /etc/systemd/system/fadewatch-agent.service.d/lab.conf
systemctl daemon-reload

# One dropped file, with the token in it, and nothing else is done.
umask 077
printf 'collector = "{COLLECTOR_URL}"\\ntoken = "%s"\\n' "$(cat /lab/token)" \\
  > /etc/fadewatch/agent.toml
until_run ""
say result "$(systemctl show -P Result fadewatch-agent.service)"
say enrolled "$(fadewatch-agent status --json | tr -d '\\n ')"
say key_mode "$(stat -c %a $state/enrolment.json)"
say key_owner "$(stat -c %u $state/enrolment.json)"
say command_line "$(grep -rl "$(cat /lab/token)" /lib/systemd /etc/systemd /run/systemd/units 2>/dev/null)"

# The cable is pulled for days. The first time the clock passes its hour, the timer is
# waited for; after that the service is started by hand, which is quicker.
ip link set eth0 down
before=$(ran)
date -s "@$(($(date +%s) + 26 * 3600))" >/dev/null
until_run "$before"
for count in $(seq 2 {OFFLINE_RUNS}); do
  date -s "@$(($(date +%s) + 26 * 3600))" >/dev/null
  systemctl start fadewatch-agent.service
done
say queued "$(fadewatch-agent status --json | sed -n 's/.*"queued": \\(.*\\),/\\1/p')"
ip link set eth0 up
ip addr add 10.0.2.15/24 dev eth0 2>/dev/null
systemctl start fadewatch-agent.service
say left "$(fadewatch-agent status --json | sed -n 's/.*"queued": \\(.*\\),/\\1/p')"

/usr/bin/dpkg --force-bad-path -i /lab/newer.deb >&2 || exit 1
say version "$(/usr/bin/dpkg-query -W -f '${{Version}}' fadewatch-agent)"
say timer_after_upgrade "$(systemctl is-active fadewatch-agent.timer)"
systemctl start fadewatch-agent.service

/usr/bin/dpkg --force-bad-path -r fadewatch-agent >&2 || exit 1
say timer_after_removal "$(systemctl is-active fadewatch-agent.timer)"
say key_after_removal "$(ls $state/enrolment.json)"
/usr/bin/dpkg --force-bad-path -P fadewatch-agent >&2 || exit 1
rm -r /etc/systemd/system/fadewatch-agent.service.d
left() {{
  find / -xdev '(' -path /lab -o -path /proc -o -path /sys ')' -prune -o \\
    -iname '*fadewatch*' -print 2>/dev/null | tr '\\n' ' '
}}
say after_purge "$(left)"

# The single file, and one unattended command.
python3 /lab/agent.pyz install --collector {COLLECTOR_URL} --token-file /lab/token
say install $?
say installed_timer "$(systemctl is-active fadewatch-agent.timer)"
say verified "$(/usr/local/bin/fadewatch-agent verify >/dev/null; echo $?)"
python3 /lab/agent.pyz uninstall
say uninstall $?
say after_uninstall "$(left)"
"""


@dataclass(frozen=True)
class Used:
    """What the guest said, and the collector it reported to."""

    said: dict[str, str]
    collector: ObservedCollector
    stderr: str

    def reports(self) -> list[dict[str, Any]]:
        """Return the raw reports that the collector keeps."""
        with closing(sqlite3.connect(self.collector.process.store)) as connection:
            rows = connection.execute("SELECT body FROM reports ORDER BY report_id")
            return [json.loads(body) for (body,) in rows]


def newer_package(folder: Path) -> Path:
    """Build the same program as a package of a later version."""
    code = (
        "import sys; from pathlib import Path\n"
        f"sys.path[:0] = [{str(REPOSITORY / 'deploy')!r}]\n"
        "from bundling import debian; from bundling.sources import program_files\n"
        f"files = program_files(Path({str(REPOSITORY)!r}))\n"
        f"print(debian.build(files, {NEWER!r}, 'nobody', Path({str(folder)!r})))"
    )
    done = subprocess.run(
        [sys.executable, "-B", "-c", code], capture_output=True, text=True, check=True
    )
    return Path(done.stdout.strip())


@pytest.fixture(scope="module")
def used(boot: Boot, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Used]:
    folder = tmp_path_factory.mktemp("package")
    built = build_bundles(folder / "dist")
    token = folder / "token"
    with observed_collector(folder) as collector:
        token.write_text(collector.process.command("token", "new", "--label", "lab"))
        job = Job(
            command=_COMMAND,
            files={
                "/lab/agent.deb": built / f"fadewatch-agent_{__version__}_all.deb",
                "/lab/newer.deb": newer_package(folder),
                "/lab/agent.pyz": built / SINGLE_FILE,
                "/lab/token": token,
            },
            collector_port=collector.process.port,
            seconds=300,
            system="systemd",
        )
        laptop = Laptop(bays=bays_holding(WORN), memory_mib=1024)
        outcome = boot(laptop, job)
        assert outcome.status == 0, outcome
        lines = outcome.stdout.decode().splitlines()
        said = dict(line.split("=", 1) for line in lines if "=" in line)
        yield Used(said, collector, outcome.stderr)


def test_it_does_nothing_until_its_settings_are_dropped(used: Used) -> None:
    assert used.said["idle_before_settings"] == "inactive"
    assert used.said["timer"] == "active"
    assert "late" not in used.said, used


def test_one_dropped_file_makes_the_laptop_appear(used: Used) -> None:
    (listed,) = used.collector.get_json("/laptops")["laptops"]

    assert used.said["result"] == "success", used.stderr
    assert '"enrolled":true' in used.said["enrolled"]
    assert listed["serial"] == "TH4X9Q7K"


def test_without_any_capability_it_reads_what_root_alone_may_read(used: Used) -> None:
    first = used.reports()[0]

    # Both stand in the firmware's tables only (sysfs: 0400 root).
    assert first["laptop"]["serial"] == "TH4X9Q7K"
    assert first["memory"]["slots"]
    assert not [one for one in first.get("remarks", ()) if "SMBIOS" in one]


def test_the_key_is_for_the_services_own_account_alone(used: Used) -> None:
    assert used.said["key_mode"] == "600"
    # The range that systemd gives out for DynamicUser= (systemd.io/UIDS-GIDS).
    assert 61184 <= int(used.said["key_owner"]) <= 65519


def test_the_token_is_in_no_unit(used: Used) -> None:
    assert used.said["command_line"] == ""


def test_after_days_without_a_cable_everything_arrives_once(used: Used) -> None:
    assert used.said["queued"] == str(OFFLINE_RUNS)
    assert used.said["left"] == "0"
    ids = [one["report_id"] for one in used.reports()]
    # The first, those without the cable, one with it again, one after the upgrade.
    assert len(ids) == len(set(ids)) == 1 + OFFLINE_RUNS + 1 + 1


def test_the_clock_that_was_moved_is_put_right_and_told(used: Used) -> None:
    now = datetime.now(UTC)
    later = used.reports()[1:]

    for one in later:
        measured = datetime.fromisoformat(one["measured_at"])
        assert abs(now - measured) < timedelta(minutes=10)
        assert "measured_at was corrected" in one["remarks"][-1]


def test_an_upgrade_keeps_timer_key_and_history(used: Used) -> None:
    assert used.said["version"] == NEWER
    assert used.said["timer_after_upgrade"] == "active"
    assert len(used.collector.get_json("/laptops")["laptops"]) == 1


def test_a_removal_ends_the_timer_and_keeps_the_key_a_purge_keeps_nothing(
    used: Used,
) -> None:
    assert used.said["timer_after_removal"] != "active"
    assert used.said["key_after_removal"].endswith("enrolment.json")
    assert used.said["after_purge"].split() == []


def test_the_single_file_is_set_up_by_one_command_and_taken_away(used: Used) -> None:
    assert (used.said["install"], used.said["uninstall"]) == ("0", "0"), used.stderr
    assert used.said["installed_timer"] == "active"
    assert used.said["verified"] == "0"
    assert used.said["after_uninstall"].split() == []
