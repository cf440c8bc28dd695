"""Small things found by attack, each with what it gives now."""

import io
import os

import numpy as np
import pytest
from PIL import Image

from lightplan.errors import BadInput, PhotoError
from lightplan.process import natives_hushed
from lightplan.rigfiles import copy_rig, load_rig, save_rig
from lightplan.shots.formats.reading import is_photograph, read_shot
from lightplan.shots.sets.cluster import refuse_outside

PRESET = "silver-bookplate-bright"


def picture():
    """A photograph of a kind, large enough to be packed into many blocks."""
    rng = np.random.default_rng(5)
    return Image.fromarray(rng.integers(0, 255, (300, 400, 3), np.uint8))


@pytest.mark.parametrize("name", ["a.jpg", "a.webp"])
def test_webp_is_named_as_such(tmp_path, name):
    picture().save(tmp_path / name, "webp")
    assert is_photograph(tmp_path / name)
    with pytest.raises(PhotoError, match="got a WebP file"):
        read_shot(tmp_path / name)


def test_heic_with_a_stretch_of_zeros_is_refused(tmp_path):
    heif = pytest.importorskip("pillow_heif")
    file = io.BytesIO()
    heif.from_pillow(picture()).save(file, quality=90)
    data = bytearray(file.getvalue())
    path = tmp_path / "a.heic"
    path.write_bytes(data)
    assert read_shot(path).rows == 300
    data[len(data) // 3 :] = bytes(len(data) - len(data) // 3)
    path.write_bytes(data)
    with pytest.raises(PhotoError, match=r"stretch of zeros|damaged"):
        read_shot(path)


def test_what_libraries_print_is_kept_from_the_maker(capfd):
    with natives_hushed(), natives_hushed():
        os.write(2, b"libpng warning: iCCP: known incorrect sRGB profile\n")
    os.write(2, b"ours\n")
    assert capfd.readouterr().err == "ours\n"


def test_a_picture_from_elsewhere_is_not_carried_along(tmp_path):
    source = copy_rig(PRESET, tmp_path / "given" / "rig.toml")
    picture_there = next(iter(source.assets.values()))
    elsewhere = tmp_path / "elsewhere.png"
    picture_there.rename(elsewhere)
    text = source.path.read_text("utf-8").replace(
        str(next(iter(source.assets))), "../elsewhere.png"
    )
    source.path.write_text(text, "utf-8")
    copied = copy_rig(source.path, tmp_path / "copy" / "rig.toml")
    assert not (tmp_path / "copy" / "artwork").exists()
    assert copied.assets == {str(elsewhere): elsewhere}
    assert copied.digest == load_rig(source.path).digest


def test_the_way_to_replace_a_preset_is_named(tmp_path, monkeypatch):
    monkeypatch.setenv("LIGHTPLAN_HOME", str(tmp_path))
    save_rig(PRESET, "mine")
    with pytest.raises(BadInput, match="add --replace"):
        save_rig(PRESET, "mine")


@pytest.mark.parametrize(
    "address", ["tcp://8.8.8.8:8786", "1.1.1.1:8786", "tls://[2606:4700::1]:1"]
)
def test_a_scheduler_in_a_public_network_is_refused(address):
    with pytest.raises(BadInput, match="network of your own"):
        refuse_outside(address)


@pytest.mark.parametrize(
    "address", ["tcp://127.0.0.1:8786", "10.1.2.3:8786", "tcp://192.168.0.7:1", "[fe80::1]:1"]
)
def test_one_in_a_network_of_ones_own_is_not(address):
    refuse_outside(address)
