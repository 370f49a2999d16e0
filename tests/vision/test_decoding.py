"""JPEG pixels, whole and at the size of the search."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image

from limbsight.errors import InputError
from limbsight.vision.picture import load_picture
from tests.helpers.photo_files import HEIGHT, WIDTH, card, exif_bytes, save, stored_as


def test_jpeg_pixels_are_those_of_opencv(tmp_path):
    """Independent program: the same libjpeg through another library, bit for bit."""
    path = save(tmp_path / "a.jpg", quality=80)
    np.testing.assert_array_equal(load_picture(path).bgr, cv2.imread(str(path)))


class TestReducedDecoding:
    """A JPEG large enough to be reduced for the search is decoded at that size at once."""

    @pytest.fixture(autouse=True)
    def small_search(self, monkeypatch):
        monkeypatch.setattr("limbsight.vision.search_size.SEARCH_PIXELS", WIDTH * HEIGHT / 4)

    @pytest.mark.parametrize("orientation", range(1, 9))
    def test_it_is_the_picture_by_area_averages(self, tmp_path, orientation):
        stored = Image.fromarray(np.ascontiguousarray(stored_as(card(), orientation)))
        exif = exif_bytes(orientation=orientation)
        picture = load_picture(save(tmp_path / "a.jpg", stored, quality=95, exif=exif))
        assert picture.size_px == (WIDTH, HEIGHT)
        assert picture.bgr.shape == (HEIGHT, WIDTH, 3)
        size = (WIDTH // 2, HEIGHT // 2)
        averaged = cv2.resize(picture.bgr, size, interpolation=cv2.INTER_AREA)
        assert picture.reduced is not None
        assert picture.reduced.shape == averaged.shape
        assert np.abs(picture.reduced.astype(int) - averaged).mean() < 1.0

    def test_a_size_of_half_blocks_is_decoded_wholly(self, tmp_path):
        odd = Image.fromarray(card()[: HEIGHT - 1])
        assert load_picture(save(tmp_path / "a.jpg", odd)).reduced is None

    def test_other_formats_are_decoded_wholly(self, tmp_path):
        assert load_picture(save(tmp_path / "a.png")).reduced is None

    def test_damage_is_found_at_once(self, tmp_path):
        data = save(tmp_path / "a.jpg").read_bytes()
        (tmp_path / "b.jpg").write_bytes(data[: len(data) * 2 // 3])
        with pytest.raises(InputError, match="damaged"):
            load_picture(tmp_path / "b.jpg")
