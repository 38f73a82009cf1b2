"""The layers of the tree: every import points down, and every module stands once in the guide."""

import ast
import re
import subprocess
import sys

import pytest
from places import ROOT

#: Packages from the lowest up; a package imports only itself and those before it.
LAYERS = (
    "readiness",
    "readiness.atmosphere",
    "readiness.sources",
    "readiness.forecasts",
    "readiness.soil",
    "readiness.grain",
    "readiness.season",
    "readiness.validation",
    "scheduler",
    "scheduler.language",
    "scheduler.farm",
    "scheduler.farm_files",
    "scheduler.weather",
    "scheduler.season_book",
    "scheduler.windows",
    "scheduler.field_work",
    "scheduler.solver",
    "scheduler.costs",
    "scheduler.work_tables",
    "scheduler.orders",
    "scheduler.explanation",
    "scheduler.planning",
    "scheduler.report",
    "scheduler.simulation",
    "scheduler.review",
    "scheduler.verification",
    "scheduler.web",
    "scheduler.command",
)
#: The only file that may import OR-Tools.
SOLVERS = {"scheduler.solver.floor"}
#: The only modules of readiness that may touch the network, and those that may touch files.
NETWORK = {"readiness.sources.services", "readiness.sources.service_errors"}
FILES = NETWORK | {
    "readiness.compiled_code",
    "readiness.sources.ghcn",
    "readiness.sources.station_file",
    "readiness.sources.uscrn",
    "readiness.validation.days_suitable",
    "readiness.validation.reference_et",
    "readiness.validation.stations",
    "readiness.validation.validate",
}
#: Files in a folder of product code, `__init__` included.
MOST_FILES = 14


def modules():
    """Every module by its dotted name; a package stands under its own name."""
    found = {}
    for package in ("readiness", "scheduler"):
        for path in sorted((ROOT / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(p for p in parts if p != "__init__")] = path
    return found


MODULES = modules()
READINESS = [name for name in MODULES if name.split(".")[0] == "readiness"]


def names_imported(name):
    """Everything a module imports anywhere in it, as dotted names of what is imported from."""
    names = set()
    for node in ast.walk(ast.parse(MODULES[name].read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: relative import"
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            names |= {w if w in MODULES else node.module for w in whole}
    return names


def ours(name):
    return {n for n in names_imported(name) if n in MODULES}


def roots(name):
    return {n.split(".")[0] for n in names_imported(name)}


def package(name):
    """The layer that a module belongs to: its package, up to two names deep."""
    whole = name if MODULES[name].name == "__init__.py" else name.rpartition(".")[0]
    return ".".join(whole.split(".")[:2])


@pytest.mark.parametrize("name", MODULES)
def test_imports_point_down(name):
    here = LAYERS.index(package(name))
    up = {n for n in ours(name) if LAYERS.index(package(n)) > here}
    assert not up, f"{name} imports {sorted(up)} from a layer above its own"


def test_no_import_goes_round_in_a_circle():
    """Repeatedly drop modules whose imports are all dropped; what is left is a circle."""
    left = {name: ours(name) - {name} for name in MODULES}
    while free := [name for name, needs in left.items() if not needs & left.keys()]:
        for name in free:
            del left[name]
    assert not left


@pytest.mark.parametrize("name", [n for n in MODULES if n.startswith("scheduler.solver")])
def test_the_solver_imports_the_simulator_and_nothing_else_of_ours(name):
    assert all(n.startswith(("scheduler.solver", "scheduler.field_work")) for n in ours(name))


@pytest.mark.parametrize("name", READINESS)
def test_readiness_never_imports_the_farm(name):
    assert not roots(name) & {"scheduler", "ortools", "flask", "shapely"}


@pytest.mark.parametrize("name", READINESS)
def test_network_and_files_stay_at_the_edge_of_readiness(name):
    if name not in NETWORK:
        assert not roots(name) & {"requests", "requests_cache", "urllib", "http", "socket"}
    if name not in FILES:
        assert not roots(name) & {"pathlib", "os", "io", "sqlite3", "tempfile", "shutil"}


@pytest.mark.parametrize("name", MODULES)
def test_ortools_is_imported_by_its_own_files_only(name):
    assert name in SOLVERS or "ortools" not in roots(name)


def test_importing_the_planner_loads_no_pictures_and_no_page():
    """Asked in a fresh process, because this one has loaded everything."""
    code = "import sys, scheduler.planning.plan; print(*{'matplotlib', 'flask'} & set(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []


def test_importing_the_page_loads_neither_pictures_nor_models_nor_solver():
    heavy = {"matplotlib", "numba", "scipy", "ortools"}
    code = f"import sys, scheduler.command.serve; print(*{heavy} & set(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []


def test_layers_and_packages_are_the_same():
    assert {package(name) for name in MODULES} == set(LAYERS)


@pytest.mark.parametrize("name", [n for n, p in MODULES.items() if p.name == "__init__.py"])
def test_every_module_stands_once_in_the_guide_of_its_package(name):
    text = MODULES[name].read_text(encoding="utf-8")
    listed = re.findall(r"^- `(\w+)`: \S", text, flags=re.MULTILINE)
    here = [p.stem for p in MODULES[name].parent.glob("*.py") if p.name != "__init__.py"]
    assert sorted(listed) == sorted(here)
    assert len(here) + 1 <= MOST_FILES


@pytest.mark.parametrize("layer", LAYERS)
def test_every_package_stands_once_in_the_developers_guide(layer):
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert len(re.findall(rf"^\| `{layer.replace('.', '/')}/` \|", text, flags=re.MULTILINE)) == 1


@pytest.mark.parametrize("name", MODULES)
def test_no_catch_all_modules(name):
    assert name.rpartition(".")[2] not in {"utils", "helpers", "core", "base", "common", "misc"}


@pytest.mark.parametrize("guide", ["DEVELOPERS.md", "README.md", "readiness/sources/WEATHER.md"])
def test_files_that_a_guide_names_with_their_folder_exist(guide):
    text = (ROOT / guide).read_text(encoding="utf-8")
    roots = (ROOT, ROOT / "readiness", ROOT / "scheduler")
    for name in re.findall(r"`([\w.]+/[\w/.]+\.(?:py|md|toml|csv|sqlite))`", text):
        assert any((root / name).exists() for root in roots), f"{guide} names {name}"
