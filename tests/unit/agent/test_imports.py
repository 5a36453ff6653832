"""What the agent imports: the standard library, common, and no more than it needs."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import fadewatch_agent
import fadewatch_common

ALLOWED = sys.stdlib_module_names | {"fadewatch_common", "fadewatch_agent"}
ONLY_FOR_DELIVERY = {
    "email",
    "fcntl",
    "gzip",
    "http.client",
    "socket",
    "sqlite3",
    "ssl",
    "tomllib",
    "urllib.request",
    "zlib",
}
FOLDERS = [Path(module.__path__[0]) for module in (fadewatch_agent, fadewatch_common)]
FILES = {
    str(file.relative_to(folder.parent)): file
    for folder in FOLDERS
    for file in sorted(folder.rglob("*.py"))
}


def imported(file: Path) -> Iterator[str]:
    """Yield the first name of every module that a file imports, anywhere in it."""
    for node in ast.walk(ast.parse(file.read_bytes())):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            yield (node.module or "").partition(".")[0]


@pytest.mark.parametrize("name", FILES)
def test_only_the_standard_library_and_common_are_imported(name: str) -> None:
    assert set(imported(FILES[name])) <= ALLOWED


def test_common_never_imports_the_agent() -> None:
    files = FOLDERS[1].rglob("*.py")

    assert all("fadewatch_agent" not in set(imported(file)) for file in files)


def modules_after(code: str) -> set[str]:
    """Run code in a new interpreter without site packages; return what it loaded."""
    paths = [str(folder.parent) for folder in FOLDERS]
    script = (
        f"import sys; sys.path[:0] = {paths!r}\n{code}\n"
        "sys.stderr.write(' '.join(sys.modules))"
    )
    ran = subprocess.run(
        [sys.executable, "-I", "-S", "-c", script],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(ran.stderr.split())


@pytest.mark.parametrize("options", [[], ["--json"]])
def test_read_loads_nothing_that_only_delivery_needs(
    tmp_path: Path, options: list[str]
) -> None:
    words = ["read", "--root", str(tmp_path), *options]

    loaded = modules_after(f"from fadewatch_agent.cli import main\nmain({words!r})")

    assert "fadewatch_agent.reading" in loaded
    assert loaded & ONLY_FOR_DELIVERY == set()


def test_a_bench_check_of_a_saved_tree_loads_nothing_that_talks_to_a_collector(
    tmp_path: Path,
) -> None:
    words = ["bench", "--root", str(tmp_path)]

    loaded = modules_after(f"from fadewatch_agent.cli import main\nmain({words!r})")

    assert "fadewatch_common.bench.verdict" in loaded
    assert loaded & ONLY_FOR_DELIVERY <= {"fcntl"}


def test_report_loads_no_package_that_costs_more_than_it_gives() -> None:
    loaded = modules_after("import fadewatch_agent.reporting, fadewatch_agent.cli")

    assert loaded.isdisjoint(
        {"argparse", "asyncio", "logging", "platform", "uuid", "urllib.request"}
    )
