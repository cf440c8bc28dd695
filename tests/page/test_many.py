"""Three hundred photographs dropped at once: a large one, a broken one, and the page goes on."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from page_server import serve
from PIL import Image

COUNT = 300
PATIENCE_MS = 240_000


def photographs(folder):
    """Write small photographs of a sheet, one of 24 megapixels with a place in it, one cut short.

    Modification times and names rise together: what was taken last stands first on the page.
    """
    rng = np.random.default_rng(3)
    sheet = np.full((300, 400, 3), 40, np.uint8)
    sheet[60:240, 120:280] = 205
    paths, grain = [], rng.normal(0, 3, (300, 400 + COUNT, 3))
    for number in range(COUNT):
        path = folder / f"shot-{number:03d}.jpg"
        noisy = np.clip(sheet + grain[:, number : number + 400], 0, 255).astype(np.uint8)
        if number == 100:
            exif = Image.Exif()
            exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 30.0, 7.25), 3: "E", 4: (13.0, 22.0, 5)})
            large = Image.fromarray(cv2.resize(noisy, (6000, 4000)))
            large.save(path, "JPEG", quality=92, exif=exif.tobytes())
        else:
            cv2.imwrite(str(path), noisy, [cv2.IMWRITE_JPEG_QUALITY, 90])
        if number == 200:
            path.write_bytes(path.read_bytes()[:6000])
        paths.append(path)
    return paths


@pytest.mark.slow
def test_three_hundred_photographs_at_once(browser, tmp_path):
    (tmp_path / "camera").mkdir()
    paths = photographs(tmp_path / "camera")
    served = serve(tmp_path / "home", "silver-bookplate-bright")
    page = browser.new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(f"{served.address}/?key={served.key}#shoot")
    page.wait_for_selector("label.drop")
    page.wait_for_function("import('/static/wire.js').then(w => !!w.state.photos)")
    page.set_input_files("label.drop input", paths)
    page.locator(".strip .shot img").nth(0).wait_for()
    page.wait_for_selector("label.drop >> text=300 taken.")
    page.locator(".strip .shot").nth(COUNT - 1).wait_for()
    # the page answers while small pictures are painted: another stage, and back
    page.evaluate("location.hash = 'keep'")
    page.wait_for_selector("main[data-stage=keep] h1")
    page.evaluate("location.hash = 'shoot'")
    page.locator(".strip .shot img").nth(COUNT - 2).wait_for()  # all but the broken one
    broken = page.locator(".strip .warn").all_text_contents()
    assert len(broken) == 1
    assert "shot-200.jpg" in broken[0]
    # of the large one a small picture is shown, and nothing of where it was taken
    shown = page.locator(".strip .shot", has_text="shot-100.jpg").locator("img")
    content = bytes(
        page.evaluate(
            "source => fetch(source).then(r => r.arrayBuffer()).then(b => [...new Uint8Array(b)])",
            shown.get_attribute("src"),
        )
    )
    small = Image.open(io.BytesIO(content))
    assert max(small.size) <= 600
    assert dict(small.getexif()) == {}
    kept = tmp_path / "home" / "works" / "silver-bookplate-bright photographs"
    assert len(list(kept.glob("shot-*.jpg"))) == COUNT
    # what is kept is the same picture, without the place; the maker's own file stays as it is
    with Image.open(kept / "shot-100.jpg") as copy, Image.open(paths[100]) as own:
        assert set(copy.getexif().get_ifd(0x8825)) <= {0}
        assert 2 in own.getexif().get_ifd(0x8825)
        assert np.array_equal(np.asarray(copy), np.asarray(own))
    page.close()
    served.stop()
