"""The folder of compiled code follows every source that compiled code is made from."""

import pytest
from places import ROOT

from readiness.compiled_code import cache_folder, compiled_sources

SOURCES = {
    "kernel": "from numba import njit\n"
    "from readiness.layers import DEPTH\n"
    "from readiness import (\n    codes,\n    tiers as t,\n)\n",
    "layers": "from readiness.units import MM\nDEPTH = 50 * MM\n",
    "units": "MM = 1.0\n",
    "codes": "FIRM = 2\n",
    "tiers": "SOFT = 0\n",
    "page": "from readiness.layers import DEPTH\n",
}


@pytest.fixture
def tree(tmp_path):
    for package in ("readiness", "scheduler"):
        (tmp_path / package).mkdir()
    for name, text in SOURCES.items():
        (tmp_path / "readiness" / f"{name}.py").write_text(text, encoding="utf-8")
    return tmp_path


# hand: kernel is compiled and imports layers, codes and tiers; layers imports units; page is
# neither compiled nor imported
@pytest.mark.parametrize(
    ("name", "moves"),
    [
        ("kernel", True),
        ("layers", True),
        ("units", True),
        ("codes", True),
        ("tiers", True),
        ("page", False),
    ],
)
def test_a_change_of_any_source_behind_compiled_code_moves_the_folder(tree, name, moves):
    before = cache_folder(tree)
    with (tree / "readiness" / f"{name}.py").open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    assert (cache_folder(tree) != before) == moves


def test_constants_of_the_kernels_are_among_the_sources():
    found = {path.relative_to(ROOT).as_posix() for path in compiled_sources(ROOT)}
    assert {"readiness/season/kernel.py", "readiness/soil/layers.py"} <= found
    assert {"scheduler/field_work/kernel.py", "readiness/season/codes.py"} <= found
    assert "scheduler/web/app.py" not in found
