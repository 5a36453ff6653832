"""The time since the machine was started, from the operating system."""

import sys
import time
from pathlib import Path

from fadewatch_agent.clock import Ticks

_BOOT = Path("/proc/sys/kernel/random/boot_id")


if sys.platform == "linux":

    def ticks() -> Ticks | None:
        """Return the time since the start; None where the start has no name."""
        try:
            boot = _BOOT.read_text(encoding="ascii").strip()
        except (OSError, UnicodeDecodeError):
            return None
        return Ticks(boot, time.clock_gettime(time.CLOCK_BOOTTIME))

else:

    def ticks() -> Ticks | None:
        """Return None: this system gives a start no name."""
        return None
