"""Run a module with this checkout's packages; the first word names it. Run on Wine.

Windows's embeddable Python takes no path from the environment.
"""

import runpy
import sys
from pathlib import Path

_ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(_ROOT / "agent"), str(_ROOT / "common"), str(_ROOT)]
sys.argv = sys.argv[1:]
runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)
