"""EXIF: orientation, focal length, time."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from limbsight.vision.picture import load_picture
from tests.helpers.photo_files import (
    HEIGHT,
    LOSSY_DN,
    WIDTH,
    card,
    exif_bytes,
    save,
    save_heic,
    stored_as,
)


def test_the_orientation_table_agrees_with_the_tag():
    """Stored row 0 / column 0 of tag 6: right-hand side and top of the upright picture."""
    upright = card()
    stored = stored_as(upright, 6)
    np.testing.assert_array_equal(stored[0], upright[:, -1])
    np.testing.assert_array_equal(stored[:, 0], upright[0][::-1])


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("suffix", "options"),
    [
        (".jpg", {"quality": 97, "subsampling": 0}),
        (".png", {}),
        (".tif", {}),
        (".webp", {"lossless": True}),
        (".heic", {"quality": 95}),
        (".avif", {"quality": 95}),
    ],
)
def test_every_orientation_in_every_format(tmp_path, orientation, suffix, options):
    stored = Image.fromarray(np.ascontiguousarray(stored_as(card(), orientation)))
    if suffix == ".heic":
        path = save_heic(tmp_path / "card.heic", stored, orientation=orientation)
    else:
        path = save(
            tmp_path / f"card{suffix}",
            stored,
            exif=exif_bytes(orientation=orientation),
            **options,
        )
    picture = load_picture(path)
    assert picture.size_px == (WIDTH, HEIGHT)
    difference = np.abs(picture.bgr[..., ::-1].astype(int) - card())
    assert difference.mean() < (LOSSY_DN if suffix in (".jpg", ".heic", ".avif") else 0.5)
    assert picture.focal_35mm == 26
    assert picture.taken_at == "2026-05-04T08:12:31"


@pytest.mark.parametrize("orientation", [0, 9, 300])
def test_an_orientation_outside_the_standard_is_upright(tmp_path, orientation):
    path = save(tmp_path / "a.jpg", exif=exif_bytes(orientation=orientation))
    assert load_picture(path).size_px == (WIDTH, HEIGHT)


class TestExif:
    def focal(self, tmp_path, **camera):
        return load_picture(save(tmp_path / "a.jpg", exif=exif_bytes(**camera))).focal_35mm

    def test_focal_length_is_trusted_when_the_size_matches(self, tmp_path):
        assert self.focal(tmp_path, ExifImageWidth=WIDTH, ExifImageHeight=HEIGHT) == 26
        assert self.focal(tmp_path, ExifImageWidth=HEIGHT, ExifImageHeight=WIDTH) == 26

    def test_focal_length_is_dropped_after_a_crop_or_zoom(self, tmp_path):
        assert self.focal(tmp_path, ExifImageWidth=400, ExifImageHeight=300) is None
        assert self.focal(tmp_path, DigitalZoomRatio=2.5) is None
        assert self.focal(tmp_path, DigitalZoomRatio=1.0) == 26
        assert self.focal(tmp_path, focal=0) is None

    def test_no_exif(self, tmp_path):
        picture = load_picture(save(tmp_path / "a.jpg"))
        assert (picture.focal_35mm, picture.taken_at) == (None, None)

    def test_time_zone_is_kept(self, tmp_path):
        exif = exif_bytes(OffsetTimeOriginal="+02:00")
        path = save(tmp_path / "a.jpg", exif=exif)
        assert load_picture(path).taken_at == "2026-05-04T08:12:31+02:00"

    @pytest.mark.parametrize("taken", ["0000:00:00 00:00:00", "    ", "yesterday"])
    def test_a_blank_date_is_none(self, tmp_path, taken):
        path = save(tmp_path / "a.jpg", exif=exif_bytes(taken=taken))
        assert load_picture(path).taken_at is None

    def test_damaged_exif_does_not_cost_the_photo(self, tmp_path):
        whole = exif_bytes()
        path = save(tmp_path / "a.jpg", exif=whole[:-12] + b"\xff" * 4)
        assert load_picture(path).size_px == (WIDTH, HEIGHT)
