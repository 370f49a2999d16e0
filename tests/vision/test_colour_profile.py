"""Pixel formats and colour profiles."""

from __future__ import annotations

import struct

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from limbsight.errors import InputError
from limbsight.vision.light import to_linear
from limbsight.vision.picture import load_picture
from tests.helpers.photo_files import HEIGHT, LOSSY_DN, WIDTH, card, rgb_of, save


class TestPixelFormats:
    def test_grey(self, tmp_path):
        grey = Image.fromarray(card()[..., 1])
        for name in ("a.png", "a.jpg", "a.tif", "a.bmp"):
            rgb = rgb_of(save(tmp_path / name, grey))
            assert np.ptp(rgb.astype(int), axis=-1).max() == 0
            assert np.abs(rgb[..., 0].astype(int) - card()[..., 1]).mean() < 2

    @pytest.mark.parametrize("suffix", [".png", ".tif"])
    def test_sixteen_bit_grey_is_rounded_not_cut(self, tmp_path, suffix):
        values = np.linspace(0, 65535, WIDTH * HEIGHT).reshape(HEIGHT, WIDTH).astype(np.uint16)
        path = tmp_path / f"a{suffix}"
        assert cv2.imwrite(str(path), values)
        expected = np.floor(values / 257.0 + 0.5)
        np.testing.assert_array_equal(rgb_of(path)[..., 0], expected)

    @pytest.mark.parametrize("suffix", [".png", ".tif"])
    def test_sixteen_bit_colour(self, tmp_path, suffix):
        path = tmp_path / f"a{suffix}"
        assert cv2.imwrite(str(path), card()[..., ::-1].astype(np.uint16) * 257)
        np.testing.assert_array_equal(rgb_of(path), card())

    def test_cmyk_jpeg(self, tmp_path):
        path = save(tmp_path / "a.jpg", Image.fromarray(card()).convert("CMYK"), quality=97)
        assert np.abs(rgb_of(path).astype(int) - card()).mean() < LOSSY_DN

    def test_palette_and_one_bit(self, tmp_path):
        colours = Image.fromarray(card()).quantize(64)
        path = save(tmp_path / "a.png", colours)
        np.testing.assert_array_equal(rgb_of(path), np.asarray(colours.convert("RGB")))
        bits = Image.fromarray(card()).convert("1")
        path = save(tmp_path / "b.png", bits)
        np.testing.assert_array_equal(rgb_of(path)[..., 0], np.asarray(bits) * 255)

    @pytest.mark.parametrize("suffix", [".png", ".webp", ".tif"])
    def test_transparency_lies_over_white(self, tmp_path, suffix):
        alpha = np.full((HEIGHT, WIDTH, 1), 255, np.uint8)
        alpha[:20] = 0
        layer = Image.fromarray(np.concatenate([card(), alpha], axis=-1))
        options = {"lossless": True} if suffix == ".webp" else {}
        rgb = rgb_of(save(tmp_path / f"a{suffix}", layer, **options))
        assert (rgb[:20] == 255).all()
        np.testing.assert_array_equal(rgb[20:], card()[20:])

    def test_transparent_palette_and_grey_alpha(self, tmp_path):
        palette = Image.fromarray(card()).quantize(16)
        path = save(tmp_path / "a.png", palette, transparency=palette.getpixel((0, 0)))
        assert tuple(rgb_of(path)[0, 0]) == (255, 255, 255)
        grey = Image.merge("LA", [Image.new("L", (4, 4), 10), Image.new("L", (4, 4), 0)])
        assert (rgb_of(save(tmp_path / "b.png", grey)) == 255).all()

    def test_progressive_jpeg_and_bmp_and_avif(self, tmp_path):
        for name, options in (("a.jpg", {"progressive": True}), ("a.bmp", {}), ("a.avif", {})):
            path = save(tmp_path / name, **options)
            assert np.abs(rgb_of(path).astype(int) - card()).mean() < LOSSY_DN

    def test_float_pixels_are_refused(self, tmp_path):
        path = save(tmp_path / "a.tif", Image.fromarray(card()[..., 0].astype(np.float32)))
        with pytest.raises(InputError, match="8 bits per colour"):
            load_picture(path)


class TestColourProfiles:
    """Profiles written here from their published primaries, checked against the formula."""

    # SMPTE EG 432-1 (P3 primaries) under D65 with the sRGB curve, adapted to D50 as ICC
    # profiles hold them; columns from memory of the Display P3 profile, checked below by
    # their sum, which must be the D50 white (0.9642, 1, 0.8249) of ICC.1:2010, 7.2.16.
    P3_D50 = np.array(
        [[0.5151, 0.2920, 0.1571], [0.2412, 0.6922, 0.0666], [-0.0011, 0.0419, 0.7841]]
    )

    @classmethod
    def display_p3(cls) -> bytes:
        """Write an ICC version 2 profile: three colorant columns and one curve."""

        def fixed(value):
            return struct.pack(">i", round(value * 65536))

        def xyz(values):
            return b"XYZ \0\0\0\0" + b"".join(map(fixed, values))

        encoded = np.arange(1024) / 1023
        linear = np.where(
            encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4
        )
        curve = (
            b"curv\0\0\0\0"
            + struct.pack(">I", 1024)
            + (linear * 65535).round().astype(">u2").tobytes()
        )
        text = b"desc\0\0\0\0" + struct.pack(">I", 5) + b"wide\0" + bytes(78)
        tags = [(b"desc", text), (b"wtpt", xyz((0.9642, 1, 0.8249)))]
        names = (b"rXYZ", b"gXYZ", b"bXYZ")
        tags += [(n, xyz(c)) for n, c in zip(names, cls.P3_D50.T, strict=True)]
        tags += [(n, curve) for n in (b"rTRC", b"gTRC", b"bTRC")]
        table, body, offset = b"", b"", 132 + 12 * len(tags)
        for name, data in tags:
            data += bytes(-len(data) % 4)
            table += name + struct.pack(">II", offset + len(body), len(data))
            body += data
        head = struct.pack(">I4sI4s4s4s", 0, b"lcms", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
        head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
        head += b"".join(map(fixed, (0.9642, 1, 0.8249))) + bytes(48)
        profile = head + struct.pack(">I", len(tags)) + table + body
        return struct.pack(">I", len(profile)) + profile[4:]

    def test_the_columns_add_up_to_white(self):
        np.testing.assert_allclose(self.P3_D50.sum(axis=1), (0.9642, 1, 0.8249), atol=2e-4)

    @pytest.mark.parametrize("suffix", [".jpg", ".png", ".heic"])
    def test_display_p3_becomes_srgb(self, tmp_path, suffix):
        """Closed form: curve, matrix P3 to sRGB (both in D50), inverse curve."""
        flat = np.empty((32, 32, 3), np.uint8)
        flat[:] = (200, 120, 90)
        path = tmp_path / f"a{suffix}"
        if suffix == ".heic":
            import pillow_heif

            file = pillow_heif.from_pillow(Image.fromarray(flat))
            file.info["icc_profile"] = self.display_p3()
            file.save(path, quality=100)
        else:
            Image.fromarray(flat).save(path, icc_profile=self.display_p3())
        # sRGB primaries adapted to D50: IEC 61966-2-1 Annex F by way of Bradford, from memory.
        srgb_d50 = np.array(
            [[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]]
        )
        linear = np.linalg.solve(srgb_d50, self.P3_D50 @ to_linear(flat)[0, 0])
        expected = 255 * (1.055 * linear ** (1 / 2.4) - 0.055)
        got = rgb_of(path).reshape(-1, 3).mean(axis=0)
        assert np.abs(expected - flat[0, 0]).max() > 10  # or the test would show nothing
        np.testing.assert_allclose(got, expected, atol=2.5)

    def test_srgb_is_left_alone(self, tmp_path):
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        path = save(tmp_path / "a.jpg", icc_profile=profile)
        np.testing.assert_array_equal(load_picture(path).bgr, cv2.imread(str(path)))

    @pytest.mark.parametrize("profile", [b"nonsense", b"\0" * 200])
    def test_a_damaged_profile_is_ignored(self, tmp_path, profile):
        path = save(tmp_path / "a.jpg", icc_profile=profile)
        np.testing.assert_array_equal(load_picture(path).bgr, cv2.imread(str(path)))

    def test_a_profile_for_other_pixels_is_ignored(self, tmp_path):
        grey = Image.fromarray(card()[..., 0])
        path = save(tmp_path / "a.jpg", grey, icc_profile=self.display_p3())
        np.testing.assert_array_equal(load_picture(path).bgr, cv2.imread(str(path)))
