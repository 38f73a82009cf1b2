"""The one-way order of imports: science never knows the farm, solvers stay where they belong."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
READINESS = sorted((ROOT / "readiness").glob("*.py"))
SCHEDULER = sorted((ROOT / "scheduler").rglob("*.py"))
#: The only files that may import OR-Tools.
SOLVERS = {"residual.py", "prize_master.py", "room.py"}
#: The only files of readiness that may touch the network, or paths and files.
NETWORK = {"services.py"}
FILES = {"__init__.py", "services.py", "records.py", "et_checks.py", "validation.py"}
#: Inner order of readiness: a file imports only from files before it.
ORDER = (
    "weather", "crops", "grade", "hazards", "et", "soil", "bearing", "water", "air", "grain",
    "grain_events", "inputs", "lanes", "facts", "season", "windows", "work",
)  # fmt: skip


def imported(path):
    """Modules imported anywhere in a file, as dotted names."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: relative import"
            names |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module}
    return names


def roots(path):
    return {name.split(".")[0] for name in imported(path)}


@pytest.mark.parametrize("path", READINESS, ids=lambda p: p.name)
def test_readiness_never_imports_the_farm(path):
    assert not roots(path) & {"scheduler", "ortools", "flask", "shapely"}


@pytest.mark.parametrize("path", READINESS, ids=lambda p: p.name)
def test_network_and_files_stay_at_the_edge_of_readiness(path):
    if path.name not in NETWORK:
        assert not roots(path) & {"requests", "requests_cache", "urllib", "http", "socket"}
    if path.name not in FILES:
        assert not roots(path) & {"pathlib", "os", "io", "sqlite3", "tempfile", "shutil"}


@pytest.mark.parametrize("path", SCHEDULER, ids=lambda p: str(p.relative_to(ROOT)))
def test_solvers_are_imported_by_their_own_files_only(path):
    if path.name not in SOLVERS:
        assert "ortools" not in roots(path)


@pytest.mark.parametrize("path", READINESS, ids=lambda p: p.name)
def test_inner_order_of_readiness(path):
    if path.stem not in ORDER:
        return
    later = ORDER[ORDER.index(path.stem) :]
    assert not imported(path) & {f"readiness.{name}" for name in later}


@pytest.mark.parametrize("path", READINESS + SCHEDULER, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_catch_all_modules(path):
    assert path.stem not in {"utils", "helpers", "core", "base", "common", "misc"}
