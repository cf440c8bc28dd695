"""List, show, check, save and copy."""

import importlib
from pathlib import Path

import pytest

from lightplan.errors import BadInput
from lightplan.rigfiles import check_rig, copy_rig, list_rigs, load_rig, save_rig, show_rig, store
from lightplan.safe_write import FileExists

SHIPPED = {
    "brushed-plant-tag",
    "certificate-a4-bowed",
    "cone-and-phone",
    "copper-label-gradient",
    "gold-card-above",
    "moonflower-holographic",
    "rainbow-bookmark",
    "rose-gold-tag-dark",
    "scattered-seeds-run",
    "silver-bookplate-bright",
    "thanks-script-run",
    "window-two-boards",
}


def test_lists_the_shipped_presets_with_what_they_are():
    rows = {row.name: row for row in list_rigs()}
    assert set(rows) >= SHIPPED
    for name in SHIPPED:
        loaded = load_rig(name)
        row = rows[name]
        assert row.shipped
        assert row.error == ""
        assert row.title == loaded.rig.title
        assert (row.look, row.foil) == (loaded.rig.look.kind, loaded.rig.sheet.foil.kind)
        assert (row.width_mm, row.height_mm) == (
            loaded.rig.sheet.width_mm,
            loaded.rig.sheet.height_mm,
        )


def test_shows_the_text_with_its_comments():
    path = store.preset_paths()["gold-card-above"]
    assert show_rig("gold-card-above") == path.read_text("utf-8")
    assert "# white is foil" in show_rig(str(path))


def test_saves_among_the_makers_own_and_finds_it_again(own_home):
    saved = save_rig("gold-card-above", "My gold card")
    assert saved.path == own_home / "rigs" / "My gold card.toml"
    assert load_rig("My gold card").digest == load_rig("gold-card-above").digest
    row = next(row for row in list_rigs() if row.name == "My gold card")
    assert not row.shipped


def test_saving_never_overwrites_unless_asked(own_home, rig_file, assert_one_sentence):
    save_rig("gold-card-above", "mine")
    before = (own_home / "rigs" / "mine.toml").read_bytes()
    for name in ("mine", "cone-and-phone"):
        with pytest.raises(FileExists, match=f"name must be a new one \\(got {name}\\)") as caught:
            save_rig(rig_file(), name)
        assert_one_sentence(caught.value)
    assert (own_home / "rigs" / "mine.toml").read_bytes() == before
    save_rig(rig_file(), "mine", replace=True)
    assert load_rig("mine").digest == load_rig(rig_file()).digest


def test_one_of_ones_own_hides_the_shipped_one_of_its_name(rig_file):
    save_rig(rig_file(), "cone-and-phone", replace=True)
    assert load_rig("cone-and-phone").rig.title == "Tag"
    assert sum(row.name == "cone-and-phone" for row in list_rigs()) == 1


@pytest.mark.parametrize(
    "name", ["", "../x", "a/b", "a\\b", ".hidden", "x" * 81, "a\nb", "a.toml", "a:"]
)
def test_names_that_are_no_file_names_are_refused(name, assert_one_sentence, own_home):
    with pytest.raises(BadInput, match="name must be letters, digits") as caught:
        save_rig("gold-card-above", name)
    assert_one_sentence(caught.value)
    assert list(own_home.rglob("*")) == []


def test_copies_to_a_file_or_into_a_folder(tmp_path):
    loaded = load_rig("copper-label-gradient")
    first = copy_rig("copper-label-gradient", tmp_path)
    assert first.path == tmp_path / "copper-label-gradient.toml"
    second = copy_rig("copper-label-gradient", tmp_path / "new" / "mine.toml")
    assert first.digest == second.digest == loaded.digest
    with pytest.raises(FileExists):
        copy_rig("copper-label-gradient", tmp_path)


def test_check_gives_the_rig_or_what_is_wrong(rig_file, minimal):
    assert check_rig(rig_file()).rig.title == "Tag"
    with pytest.raises(BadInput, match="did you mean width_mm"):
        check_rig(rig_file(minimal.replace("width", "wdith")))


def test_a_broken_preset_is_listed_with_what_is_wrong(own_home):
    (own_home / "rigs").mkdir()
    (own_home / "rigs" / "broken.toml").write_text("format = 7\n")
    row = next(row for row in list_rigs() if row.name == "broken")
    assert row.error.startswith("format must be at most 2 (got 7)")
    assert len(list_rigs()) == len(SHIPPED) + 1


def test_an_installed_package_carries_its_presets(tmp_path, monkeypatch):
    # A wheel puts them inside the package (pyproject.toml, force-include).
    (tmp_path / "lightplan" / "rigs").mkdir(parents=True)
    monkeypatch.setattr(store, "_PACKAGE", tmp_path / "lightplan")
    assert store.shipped_folder() == tmp_path / "lightplan" / "rigs"
    (tmp_path / "lightplan" / "rigs").rmdir()
    assert store.shipped_folder() == tmp_path / "rigs"


def test_without_the_variable_the_platforms_own_folder_is_used(monkeypatch, tmp_path):
    monkeypatch.delenv("LIGHTPLAN_HOME")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    platformdirs = importlib.import_module("platformdirs")
    expected = Path(platformdirs.user_data_dir("lightplan", appauthor=False)) / "rigs"
    assert store.own_folder() == expected
