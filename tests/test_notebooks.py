"""Every notebook runs from top to bottom on a copy of the sample and is stored without outputs."""

import nbformat
import pytest
from farm_folder import copy_sample
from places import ROOT

STORIES = sorted((ROOT / "notebooks").glob("[0-9]_*.ipynb"))


def test_the_stories_are_complete():
    assert [p.stem for p in STORIES] == [
        "1_after_the_rain",
        "2_each_morning_again",
        "3_lost_days",
        "4_the_solver",
    ]


@pytest.mark.parametrize("path", sorted((ROOT / "notebooks").glob("*.ipynb")), ids=lambda p: p.stem)
def test_outputs_are_stripped(path):
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    for cell in book.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None


@pytest.mark.slow
@pytest.mark.parametrize("path", STORIES, ids=lambda p: p.stem)
@pytest.mark.filterwarnings("ignore")  # the notebook client and its event loop warn
def test_notebook_runs_on_the_sample(path, tmp_path):
    from nbclient import NotebookClient

    copy_sample(tmp_path / "sample_forecasts")
    home = tmp_path / "notebooks"
    home.mkdir()
    book = nbformat.read(path, as_version=4)
    # each takes under a minute on an idle machine; a busy one may need longer
    NotebookClient(book, timeout=600, resources={"metadata": {"path": str(home)}}).execute()
    assert any(cell.get("outputs") for cell in book.cells)
