"""Read the stub's laptop through WinDLL and print what was told; run on Wine."""

import ctypes
import json
import sys

from tests.windows.stubbed import told

if sys.platform == "win32":
    library = ctypes.WinDLL(sys.argv[1], use_last_error=True)
    sys.stdout.write(json.dumps(told(library, ctypes.get_last_error)))
