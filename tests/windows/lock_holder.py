"""Hold the lock of a state folder until the standard input ends; run on Wine."""

import sys
from pathlib import Path

from fadewatch_agent.state import ensure_folder, only_one

folder = Path(sys.argv[1])
ensure_folder(folder)
with only_one(folder) as alone:
    sys.stdout.write("held\n" if alone else "busy\n")
    sys.stdout.flush()
    sys.stdin.read()
