"""A photo as every other module sees it."""

from __future__ import annotations

import hashlib

import pytest
from PIL import Image

from limbsight.vision.picture import load_picture
from tests.helpers.photo_files import save


def test_hash_is_that_of_the_file(tmp_path):
    path = save(tmp_path / "a.jpg")
    assert load_picture(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_pixels_are_read_only(tmp_path):
    picture = load_picture(save(tmp_path / "a.jpg"))
    with pytest.raises(ValueError, match="read-only"):
        picture.bgr[0, 0] = 0


@pytest.mark.parametrize(
    ("size", "whole"),
    [((400, 300), True), ((302, 400), True), ((480, 270), True), ((320, 400), False)],
)
def test_a_picture_of_no_cameras_shape_was_cut_out_of_one(tmp_path, size, whole):
    Image.new("RGB", size).save(tmp_path / "a.jpg")
    assert load_picture(tmp_path / "a.jpg").whole is whole
