"""The best picture so far while a plan is made, and what is left of it."""

import io

import pytest
from PIL import Image

from lightplan.errors import BadInput
from lightplan.manifest import write_output
from lightplan.planning.effort import SearchProgress
from lightplan.rigfiles import load_rig
from lightplan.tasks import best_so_far
from lightplan.tasks.best_so_far import NAME, BestSoFar


@pytest.fixture
def progress():
    rig = load_rig("silver-bookplate-bright").rig
    return SearchProgress(stage="searching", done=1, of=9, score=50.0, rig=rig)


def test_the_picture_is_there_while_the_search_runs_and_gone_after(progress, tmp_path):
    folder = tmp_path / "planned"
    with BestSoFar(folder) as best:
        assert best.show(progress)
        picture = Image.open(io.BytesIO((folder / NAME).read_bytes()))
        assert max(picture.size) == 480
        assert picture.convert("L").getextrema()[1] > 100  # something is lit
    assert not folder.exists()  # nothing else was written


def test_a_stop_as_soon_as_the_picture_is_written_leaves_none(progress, tmp_path, monkeypatch):
    def written_and_stopped(path, picture, *, replace):
        write_output(path, picture, replace=replace)
        raise KeyboardInterrupt

    monkeypatch.setattr(best_so_far, "write_output", written_and_stopped)
    with pytest.raises(KeyboardInterrupt), BestSoFar(tmp_path) as best:
        best.show(progress)
    assert not (tmp_path / NAME).exists()


def test_pictures_take_little_of_the_time(progress, tmp_path):
    with BestSoFar(tmp_path) as best:
        shown = [best.show(progress) for _ in range(20)]
    assert shown[0]
    assert not any(shown[1:])  # the first took far more than a twentieth of what went by
    assert tmp_path.exists()


def test_a_plan_that_cannot_be_written_is_refused_before_the_search(tmp_path, lightplan):
    (tmp_path / "setup.pdf").write_text("mine")
    with pytest.raises(BadInput, match=r"--out must be a folder without a setup\.pdf of yours"):
        BestSoFar(tmp_path)
    said = lightplan("plan", "silver-bookplate-bright", "--out", tmp_path)
    assert said.code == 2
    assert "setup.pdf" in said.err
    assert "searching" not in said.err
    assert (tmp_path / "setup.pdf").read_text() == "mine"
