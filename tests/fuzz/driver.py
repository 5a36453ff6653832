"""Run a target under atheris, which steers by the branches that an input reaches.

    python -m tests.fuzz.smbios --minutes 20

atheris is not needed for anything else: `pip install --group fuzz`. The inputs that
reach something new gather in ``--found`` (by default a folder that is kept beside the
temporary files); the small corpus in ``tests/fuzz/corpus`` is where a run begins, and
what `tests/unit/test_fuzz_corpus.py` replays without atheris.
"""

import argparse
import importlib
import os
import sys
import tempfile
from pathlib import Path

CORPUS = Path(__file__).parent / "corpus"
SLOWEST_S = 10
"""An input that takes longer counts as a crash [s]. Own choice."""
LONGEST = 4096
"""Longest input [bytes]: far past every bound of a field. Own choice."""

_INSTRUMENTED = ["fadewatch_agent", "fadewatch_common", "fadewatch_collector"]


def run(name: str) -> None:
    """Fuzz one target until the time is over or an input breaks it."""
    told = _arguments(name)
    import atheris  # noqa: PLC0415  only here, and only for a run

    # The command's own import came first, without the counters.
    for module in [m for m in sys.modules if m.partition(".")[0] in _INSTRUMENTED]:
        del sys.modules[module]
    with atheris.instrument_imports(include=_INSTRUMENTED):
        target = importlib.import_module(f"tests.fuzz.{name}")
    found = told.found or Path(tempfile.gettempdir()) / f"fadewatch-fuzz-{name}"
    found.mkdir(parents=True, exist_ok=True)
    os.nice(told.nice)
    options = [
        sys.argv[0],
        str(found),
        str(seeds(name)),
        f"-max_total_time={int(told.minutes * 60)}",
        f"-max_len={LONGEST}",
        f"-timeout={SLOWEST_S}",
        f"-artifact_prefix={found}-broke-",
        f"-seed={told.seed}",
        "-print_final_stats=1",
        "-verbosity=1",
        "-rss_limit_mb=1024",
    ]
    if (words := CORPUS / f"{name}.dict").exists():
        options.append(f"-dict={words}")
    atheris.Setup(options, target.check)
    atheris.Fuzz()


def seeds(name: str) -> Path:
    """Return the folder of a target's small corpus."""
    return CORPUS / name


def _arguments(name: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog=f"python -m tests.fuzz.{name}")
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--nice", type=int, default=0, help="added to the niceness")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--found", type=Path, help="folder for what is found")
    return parser.parse_args()
