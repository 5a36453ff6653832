"""Replace a record while somebody has the old one open for a moment; run on Wine."""

import sys
import threading
from pathlib import Path

from fadewatch_agent.state import read_record, write_record

file = Path(sys.argv[1]) / "state.json"
write_record(file, {"told": "old"})
stream = file.open("rb")
closing = threading.Timer(0.3, stream.close)
closing.start()
write_record(file, {"told": "new"})
sys.stdout.write(read_record(file)["told"] + "\n")
closing.join()
