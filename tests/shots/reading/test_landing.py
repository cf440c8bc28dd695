"""A file that is copied into a folder counts once it is whole, and again when it is another."""

from __future__ import annotations

import os

import pytest

from lightplan.landing import SETTLED_S, STILL_S, Landing

NOW = 1000.0
END = b"\xff\xd9"  # the marker EOI of JPEG: ITU-T T.81, table B.1


@pytest.mark.parametrize(
    ("name", "content", "after_s"),
    [
        ("whole.jpg", b"picture" + END, SETTLED_S),
        ("cut.jpg", b"picture", STILL_S),
        ("phone.heic", b"picture", SETTLED_S),
    ],
)
def test_a_file_lands_once_its_end_has_come_or_nothing_more_comes(tmp_path, name, content, after_s):
    landing, path = Landing(), tmp_path / name
    path.write_bytes(content)
    landing.notice([path], now=NOW)
    assert landing.landed(now=NOW + 0.9 * after_s) == []
    assert landing.landed(now=NOW + 1.1 * after_s) == [path]
    landing.notice([path], now=NOW + 20.0)
    assert not landing.waits


def test_a_file_that_lay_there_before_lands_at_once_but_not_without_its_end(tmp_path):
    landing = Landing()
    paths = [tmp_path / name for name in ("whole.jpg", "cut.jpg", "phone.heic")]
    for path in paths:
        path.write_bytes(b"picture" + END * (path.stem == "whole"))
        os.utime(path, (1e9, 1e9))
    landing.notice(paths, now=NOW)
    assert landing.landed(now=NOW) == paths[:1]
    assert landing.landed(now=NOW + 1.0) == paths[2:]  # of this kind the name tells nothing more


def test_a_file_that_grows_waits_and_one_that_is_written_again_lands_again(tmp_path):
    landing, path = Landing(), tmp_path / "a.jpg"
    for number in range(3):
        path.write_bytes(b"picture" * (number + 1) + END)
        landing.notice([path], now=NOW + number)
        assert landing.landed(now=NOW + number) == []
    assert landing.landed(now=NOW + 3) == [path]
    path.write_bytes(b"another" * 9 + END)
    landing.notice([path], now=NOW + 4, is_whole=True)
    assert landing.landed(now=NOW + 4) == [path]
    assert landing.keep([]) == [path]
    landing.notice([path], now=NOW + 5)
    assert landing.waits
