"""Cautions stand where a maker is told to put something up: on the screen, on paper, in JSON."""

import html
import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from lightplan.planning.kit_words import Offer
from lightplan.planning.offers import KitAdvice
from lightplan.planning.result import NoPlan
from lightplan.reports.cautions import cautions_for
from lightplan.rigfiles import load_rig
from lightplan.tasks import demo, kit, looks, predict, setup
from lightplan.tasks.caution_words import cautions_of
from lightplan.tasks.layout import kept_facts

PRESET = "silver-bookplate-bright"


@pytest.fixture(scope="module")
def careful():
    """What applies to the preset, more than one sentence of it."""
    found = list(cautions_for(load_rig(PRESET).rig))
    assert len(found) > 3
    return found


@pytest.fixture
def photographs(tmp_path):
    """A folder with one photograph in which there is no sheet: it is told of quickly."""
    folder = tmp_path / "shots"
    folder.mkdir()
    Image.fromarray(np.full((200, 300, 3), 90, np.uint8)).save(folder / "IMG_1.jpg")
    return folder


@pytest.fixture
def without_search(monkeypatch):
    """Searches that find nothing at once: what is told beside them is looked at."""
    base = Offer(items=(), price=None, rig=load_rig(PRESET).rig, score=80.0, reason="")
    answer = KitAdvice(
        base=base, offers=(), cheapest=None, needs_nothing=True, sentences=("Enough.",)
    )
    none = NoPlan(in_the_way=(), reason="", wish="", nearest=None)
    monkeypatch.setattr(kit, "kit", lambda *_, **__: answer)
    monkeypatch.setattr(demo, "plan", lambda *_, **__: none)
    nothing = looks.Proof(title="example", shown=(), left_out=())
    monkeypatch.setattr(demo, "looks", lambda *_, **__: nothing)
    monkeypatch.setattr(demo, "predict", lambda source, **_: looks.predict(source, detail=QUICK))


@pytest.fixture
def at_a_glance(monkeypatch):
    """Predictions of few pixels, in which no cause is looked for."""
    for task in (predict, setup):
        monkeypatch.setattr(
            task,
            "predict",
            lambda source, **more: looks.predict(
                source, **more | {"detail": QUICK, "explain": False}
            ),
        )


QUICK = looks.Detail.quick(camera_rows=60, camera_cols=80)


def both(lightplan, *words):
    """Return what a command says in words and as JSON, run twice."""
    plain, told = lightplan(*words), lightplan(*words, "--json")
    assert plain.code == told.code, plain.err + told.err
    return plain.out, told.document()


@pytest.mark.parametrize("name", ["predict", "setup", "kit", "watch", "shoot", "demo"])
def test_each_command_tells_them(
    name, lightplan, tmp_path, careful, photographs, without_search, at_a_glance
):
    words = {
        "predict": ("predict", PRESET, "--out", tmp_path / "out"),
        "setup": ("setup", PRESET, "--out", tmp_path / "setup.pdf"),
        "kit": ("kit", PRESET),
        "watch": ("watch", photographs, "--rig", PRESET, "--present", "--frames", 1),
        "shoot": ("shoot", photographs, "--rig", PRESET),
        "demo": ("demo", "--out", tmp_path / "demo"),
    }
    plain, document = both(lightplan, *words[name])
    assert "Take care" in plain
    assert [text for text in careful if text not in plain] == []
    assert document["cautions"] == careful


def test_the_notes_of_a_shoot_hold_them(lightplan, tmp_path, careful, photographs):
    out = tmp_path / "ledger"
    lightplan("shoot", photographs, "--rig", PRESET, "--out", out)
    page = (out / "shoot.html").read_text("utf-8")
    assert [text for text in careful if html.escape(text) not in page] == []
    assert json.loads((out / "shoot.json").read_text("utf-8"))["cautions"] == careful


def test_the_page_is_told_of_them_when_a_work_is_opened_or_saved(careful):
    assert kept_facts(load_rig(PRESET))["cautions"] == careful


def test_what_goes_on_from_another_caution_is_told_once():
    above = load_rig("gold-card-above").rig
    low = replace(above, cards=(), freedoms=(), camera=load_rig(PRESET).rig.camera)
    short = [text for text in cautions_for(low) if text.startswith("Stands")]
    assert short
    assert short[0] not in cautions_for(above)
    told = cautions_of(low, above)
    assert [text for text in told if text.startswith("Stands")] == [
        text for text in cautions_for(above) if text.startswith("Stands")
    ]
    assert len({text.split(":")[0] for text in told}) == len(told)
