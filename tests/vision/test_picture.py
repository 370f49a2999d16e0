"""Photos of every kind a phone, a scanner or a messenger may hand over."""

from __future__ import annotations

import hashlib
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image, ImageCms

from limbsight.errors import InputError
from limbsight.vision import picture as picture_module
from limbsight.vision.picture import brightness_alone, load_picture, to_linear

WIDTH, HEIGHT = 96, 64
LOSSY_DN = 12
"""Largest mean difference a good lossy encoder leaves on the smooth test card."""


def card() -> np.ndarray:
    """RGB test card: smooth, and different in every corner and every channel."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    red = 30 + 200 * x / WIDTH
    green = 20 + 180 * y / HEIGHT
    blue = 220 - 150 * x / WIDTH
    return np.stack([red, green, blue], axis=-1).round().astype(np.uint8)


def exif_bytes(*, orientation=1, focal=26, taken="2026:05:04 08:12:31", **camera) -> bytes:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    ifd = exif.get_ifd(ExifTags.IFD.Exif)
    ifd[ExifTags.Base.FocalLengthIn35mmFilm] = focal
    ifd[ExifTags.Base.DateTimeOriginal] = taken
    for name, value in camera.items():
        ifd[getattr(ExifTags.Base, name)] = value
    return exif.tobytes()


def save(path, image=None, **options):
    (image or Image.fromarray(card())).save(path, **options)
    return path


def rgb_of(path):
    return load_picture(path).bgr[..., ::-1]


def stored_as(upright: np.ndarray, orientation: int) -> np.ndarray:
    """Turn an upright picture into what a camera with that orientation tag stores.

    The tag names where the stored row 0 and column 0 lie in the upright picture
    (Exif 2.32, CIPA DC-008-2019, tag 0x0112): written here as plain numpy axis moves, so
    that it shares nothing with the code under test.
    """
    return {
        1: upright,  # row 0 top, column 0 left
        2: upright[:, ::-1],  # top, right
        3: upright[::-1, ::-1],  # bottom, right
        4: upright[::-1],  # bottom, left
        5: upright.swapaxes(0, 1),  # row 0 left, column 0 top
        6: upright.swapaxes(0, 1)[::-1],  # the camera was turned: row 0 right, column 0 top
        7: upright.swapaxes(0, 1)[::-1, ::-1],  # right, bottom
        8: upright.swapaxes(0, 1)[:, ::-1],  # left, bottom
    }[orientation]


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


def save_heic(path: Path, image: Image.Image, *, orientation=1) -> Path:
    import pillow_heif

    file = pillow_heif.from_pillow(image)
    file.save(path, quality=95, exif=exif_bytes(orientation=orientation))
    return path


@pytest.mark.parametrize("orientation", [0, 9, 300])
def test_an_orientation_outside_the_standard_is_upright(tmp_path, orientation):
    path = save(tmp_path / "a.jpg", exif=exif_bytes(orientation=orientation))
    assert load_picture(path).size_px == (WIDTH, HEIGHT)


def test_jpeg_pixels_are_those_of_opencv(tmp_path):
    """Independent program: the same libjpeg through another library, bit for bit."""
    path = save(tmp_path / "a.jpg", quality=80)
    np.testing.assert_array_equal(load_picture(path).bgr, cv2.imread(str(path)))


def test_brightness_alone_is_that_of_the_grey_which_a_jpeg_keeps():
    """OpenCV's grey has the same weights (Rec. ITU-R BT.601), rounded to a whole level."""
    pixels = np.random.default_rng(4).integers(0, 256, (40, 30, 3), dtype=np.uint8)
    grey = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY)
    found = brightness_alone(to_linear(pixels)[..., ::-1].astype(float))
    lower, upper = (
        to_linear(np.clip(grey.astype(int) + k, 0, 255).astype(np.uint8)) for k in (-1, 1)
    )
    assert (found[..., 0] >= lower).all()
    assert (found[..., 0] <= upper).all()
    assert (found == found[..., :1]).all()
    assert (brightness_alone(np.full((2, 3), -0.1)) == 0.0).all()


def test_hash_is_that_of_the_file(tmp_path):
    path = save(tmp_path / "a.jpg")
    assert load_picture(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_pixels_are_read_only(tmp_path):
    picture = load_picture(save(tmp_path / "a.jpg"))
    with pytest.raises(ValueError, match="read-only"):
        picture.bgr[0, 0] = 0


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
        monkeypatch.setattr(picture_module, "MAX_PIXELS", WIDTH * HEIGHT)
        assert load_picture(path).size_px == (WIDTH, HEIGHT)
        monkeypatch.setattr(picture_module, "MAX_PIXELS", WIDTH * HEIGHT - 1)
        self.refuse(path, "megapixels")
        self.refuse(save_heic(tmp_path / "a.heic", Image.fromarray(card())), "megapixels")

    def test_large_file(self, tmp_path, monkeypatch):
        monkeypatch.setattr(picture_module, "MAX_FILE_BYTES", 100)
        self.refuse(save(tmp_path / "a.bmp"), "too large")


def test_names_outside_ascii(tmp_path):
    assert load_picture(save(tmp_path / "Prüfstand 3 – früh.jpg")).size_px == (WIDTH, HEIGHT)


class TestToLinear:
    def test_ends_and_dtype(self):
        linear = to_linear(np.array([[[0, 255, 10]]], np.uint8))
        assert linear.dtype == np.float32
        assert linear.shape == (1, 1, 3)
        np.testing.assert_allclose(linear[0, 0, :2], (0.0, 1.0), atol=1e-7)
        # 10/255 lies just under the knee at 0.04045: the straight part applies.
        assert linear[0, 0, 2] == pytest.approx(10 / 255 / 12.92, rel=1e-6)

    def test_encoding_it_again_gives_the_values_back(self):
        """Closed form: the forward encoding of IEC 61966-2-1:1999, 5.2, knee at 0.0031308."""
        values = np.arange(256, dtype=np.uint8)[np.newaxis]
        linear = to_linear(values).astype(float)
        encoded = np.where(
            linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055
        )
        np.testing.assert_allclose(255 * encoded, values, atol=1e-3)

    def test_grey_pictures(self):
        assert to_linear(np.zeros((5, 7), np.uint8)).shape == (5, 7)

    def test_monotonic(self):
        assert (np.diff(to_linear(np.arange(256, dtype=np.uint8)[np.newaxis])[0]) > 0).all()


class TestReducedDecoding:
    """A JPEG large enough to be reduced for the search is decoded at that size at once."""

    @pytest.fixture(autouse=True)
    def small_search(self, monkeypatch):
        monkeypatch.setattr("limbsight.vision.picture.SEARCH_PIXELS", WIDTH * HEIGHT / 4)

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


@pytest.mark.parametrize(
    ("size", "whole"),
    [((400, 300), True), ((302, 400), True), ((480, 270), True), ((320, 400), False)],
)
def test_a_picture_of_no_cameras_shape_was_cut_out_of_one(tmp_path, size, whole):
    Image.new("RGB", size).save(tmp_path / "a.jpg")
    assert load_picture(tmp_path / "a.jpg").whole is whole
