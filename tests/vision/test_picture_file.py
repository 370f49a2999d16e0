"""Files that are no photos, or none that can be read."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from limbsight.errors import InputError
from limbsight.vision import picture_file
from limbsight.vision.picture import load_picture
from tests.helpers.photo_files import HEIGHT, LOSSY_DN, WIDTH, card, rgb_of, save, save_heic


class TestBadFiles:
    def refuse(self, path, match):
        with pytest.raises(InputError, match=match) as caught:
            load_picture(path)
        message = str(caught.value)
        assert caught.value.code == "bad_file"
        assert Path(path).name in message
        assert "\n" not in message
        assert "; " in message  # what is wrong; what to do

    def write(self, tmp_path, data, name="a.jpg"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    def jpeg(self, tmp_path):
        enlarged = Image.fromarray(card()).resize((600, 400))
        noise = np.random.default_rng(7).normal(0, 4, (400, 600, 3))
        pixels = np.clip(np.asarray(enlarged) + noise, 0, 255).astype(np.uint8)
        return save(tmp_path / "whole.jpg", Image.fromarray(pixels), quality=85).read_bytes()

    def test_missing_folder_empty(self, tmp_path):
        self.refuse(tmp_path / "none.jpg", "no such file")
        self.refuse(tmp_path, "a folder")
        self.refuse(self.write(tmp_path, b""), "empty file")

    def test_not_an_ordinary_file(self):
        if not Path("/dev/zero").exists():
            pytest.skip("no device files here")
        self.refuse(Path("/dev/zero"), "not an ordinary file")

    def test_permission(self, tmp_path, monkeypatch):
        path = save(tmp_path / "a.jpg")

        def shut(self):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "read_bytes", shut)
        self.refuse(path, "may not be read")

    @pytest.mark.parametrize(
        "data",
        [b"hello, this is text", b"%PDF-1.7 ...", b"%!PS-Adobe-3.0 EPSF-3.0\n", b"\xff"],
    )
    def test_not_a_picture(self, tmp_path, data):
        self.refuse(self.write(tmp_path, data), "not a photo")

    @pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.99])
    def test_truncated_jpeg(self, tmp_path, share):
        data = self.jpeg(tmp_path)
        self.refuse(
            self.write(tmp_path, data[: int(share * len(data))]), "damaged|not a photo"
        )

    def test_damage_inside_a_jpeg(self, tmp_path):
        data = bytearray(self.jpeg(tmp_path))
        data[len(data) // 2 : len(data) // 2 + 400] = bytes(400)
        path = self.write(tmp_path, bytes(data))
        assert cv2.imread(str(path)) is not None  # passed off as a picture without our check
        self.refuse(path, "damaged")

    def test_bytes_after_the_end_do_no_harm(self, tmp_path):
        data = self.jpeg(tmp_path)
        for tail in (b"\0" * 500, b"maker's own trailer" * 9, data):
            assert load_picture(self.write(tmp_path, data + tail)).size_px == (600, 400)

    @pytest.mark.parametrize("suffix", [".png", ".tif", ".webp", ".heic", ".avif", ".gif"])
    def test_truncated_others(self, tmp_path, suffix):
        path = tmp_path / f"a{suffix}"
        if suffix == ".heic":
            save_heic(path, Image.fromarray(card()))
        else:
            save(path)
        data = path.read_bytes()
        self.refuse(
            self.write(tmp_path, data[: 2 * len(data) // 3], path.name), "damaged|not a"
        )

    @pytest.mark.parametrize(("suffix", "count"), [(".gif", 3), (".png", 2), (".webp", 2)])
    def test_animations_and_pages(self, tmp_path, suffix, count):
        frames = [Image.fromarray(card() // (i + 1)) for i in range(count)]
        path = tmp_path / f"a{suffix}"
        frames[0].save(path, save_all=True, append_images=frames[1:])
        self.refuse(path, f"holds {count} pictures")
        frames[0].save(tmp_path / "b.tif", save_all=True, append_images=frames[1:])
        self.refuse(tmp_path / "b.tif", "pictures")

    def test_one_frame_gif_is_a_picture(self, tmp_path):
        assert load_picture(save(tmp_path / "a.gif")).size_px == (WIDTH, HEIGHT)

    def test_a_second_picture_in_a_phone_jpeg_is_a_by_product(self, tmp_path):
        path = tmp_path / "a.jpg"
        Image.fromarray(card()).save(
            path, "MPO", save_all=True, append_images=[Image.fromarray(card() // 2)]
        )
        assert np.abs(rgb_of(path).astype(int) - card()).mean() < LOSSY_DN

    def test_decompression_bomb(self, tmp_path):
        """A header that claims 40 000 x 40 000 pixels in a file of a few hundred bytes."""
        data = bytearray(save(tmp_path / "a.png").read_bytes())
        data[16:24] = struct.pack(">II", 40_000, 40_000)
        data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
        self.refuse(self.write(tmp_path, bytes(data), "b.png"), "178 megapixels")

    def test_the_limit_is_ours_and_not_pillows_half_of_it(self, tmp_path, monkeypatch):
        path = save(tmp_path / "a.png")
        monkeypatch.setattr(picture_file, "MAX_PIXELS", WIDTH * HEIGHT)
        assert load_picture(path).size_px == (WIDTH, HEIGHT)
        monkeypatch.setattr(picture_file, "MAX_PIXELS", WIDTH * HEIGHT - 1)
        self.refuse(path, "megapixels")
        self.refuse(save_heic(tmp_path / "a.heic", Image.fromarray(card())), "megapixels")

    def test_large_file(self, tmp_path, monkeypatch):
        monkeypatch.setattr(picture_file, "MAX_FILE_BYTES", 100)
        self.refuse(save(tmp_path / "a.bmp"), "too large")


def test_names_outside_ascii(tmp_path):
    assert load_picture(save(tmp_path / "Prüfstand 3 – früh.jpg")).size_px == (WIDTH, HEIGHT)
