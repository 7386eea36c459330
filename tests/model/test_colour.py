"""Code values mean the light that a file's colour profile says; outside references: colorimetry and Little CMS."""

import io
import struct

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageCms
from profiles_made import ADOBE_RGB, DISPLAY_P3, GAMMA_2_2, SRGB_CURVE, curve_table, matrix_profile, profile

from dialtell.model.formats.colour import colour_of
from dialtell.model.reading.photo import linear_light, read_photo

P3 = matrix_profile(DISPLAY_P3, SRGB_CURVE)
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
# SMPTE EG 432-1 (Display P3) and ITU-R BT.709 (sRGB): x, y of red, green, blue; both under D65
XY_P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
XY_709 = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
D65 = (0.3127, 0.3290)
PATCHES = np.array([[255, 0, 0], [0, 255, 0], [0, 0, 255], [200, 120, 40], [128, 128, 128], [10, 30, 20]], np.uint8)


def to_xyz(primaries):
    """Columns XYZ of each primary's share in white; SMPTE RP 177."""
    columns = np.array([(x / y, 1, (1 - x - y) / y) for x, y in primaries]).T
    x, y = D65
    return columns * np.linalg.solve(columns, [x / y, 1, (1 - x - y) / y])


def light_of_p3(patches):
    """Linear sRGB light of Display P3 codes of 8 bits."""
    code = patches / 255
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light @ (np.linalg.inv(to_xyz(XY_709)) @ to_xyz(XY_P3)).T


def picture(patches=PATCHES):
    return np.repeat(np.repeat(patches.reshape(2, 3, 3), 24, 0), 24, 1)


def seen(photo):
    """Light and luminance in the middle of each patch."""
    places = slice(12, None, 24)
    return photo.pixels[places, places].reshape(-1, 3), photo.grey[places, places].reshape(-1)


def test_the_curve_and_primaries_used_for_reference_are_those_published():
    # CSS Color 4, 10.4 and its sample code: what a Display P3 red is in linear sRGB
    assert light_of_p3(np.array([255, 0, 0])) == pytest.approx([1.2249, -0.0420, -0.0197], abs=2e-4)
    assert to_xyz(XY_P3)[1] == pytest.approx([0.22897, 0.69174, 0.07929], abs=2e-5)


@pytest.mark.parametrize("form", ["png", "tif", "webp"])
def test_display_p3_is_the_light_that_colorimetry_says(tmp_path, form):
    Image.fromarray(picture()).save(
        tmp_path / f"a.{form}", icc_profile=P3, **({"lossless": True} if form == "webp" else {})
    )
    photo = read_photo(tmp_path / f"a.{form}")
    light, grey = seen(photo)
    expected = light_of_p3(PATCHES)
    assert light == pytest.approx(np.clip(expected, 0, 1), abs=4e-4)
    # of colours beyond sRGB too: the luminance is that of the light, not of what sRGB can hold of it
    assert grey == pytest.approx(expected @ [0.2126, 0.7152, 0.0722], abs=4e-4)
    assert photo.warnings == () and abs(grey[0] - 0.2126) > 0.01


def _jpeg(image):
    return _saved(image, "JPEG", quality=100, subsampling=0, icc_profile=P3)


def _saved(image, form, **options):
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


def _heic(image, **options):
    out = io.BytesIO()
    pillow_heif.from_pillow(image).save(out, quality=-1, chroma=444, matrix_coefficients=0, **options)
    return out.getvalue()


@pytest.mark.parametrize(
    "made",
    [
        _jpeg,
        lambda image: _heic(image, icc_profile=P3),
        lambda image: _heic(image, color_primaries=12, transfer_characteristics=13),
        lambda image: _saved(image, "AVIF", quality=100, subsampling="4:4:4", icc_profile=P3),
    ],
    ids=["JPEG", "HEIC by profile", "HEIC by number", "AVIF by profile"],
)
def test_display_p3_as_phones_write_it(tmp_path, made):
    (tmp_path / "a.jpg").write_bytes(made(Image.fromarray(picture())))
    light, grey = seen(read_photo(tmp_path / "a.jpg"))
    expected = light_of_p3(PATCHES)
    # lossy ones are some levels off, which in the lights is a hundredth and a half
    assert light == pytest.approx(np.clip(expected, 0, 1), abs=0.015)
    assert grey == pytest.approx(expected @ [0.2126, 0.7152, 0.0722], abs=0.01)
    assert grey[0] > 0.2126 + 0.008


def test_avif_by_number(tmp_path):
    """No encoder at hand writes other numbers than sRGB's in AVIF: they are put into the file's colr box."""
    data = _saved(Image.fromarray(picture()), "AVIF", quality=100, subsampling="4:4:4")
    assert data.count(b"colrnclx\0\1\0\x0d") == 1
    (tmp_path / "a.avif").write_bytes(data.replace(b"colrnclx\0\1\0\x0d", b"colrnclx\0\x0c\0\x0d"))
    assert seen(read_photo(tmp_path / "a.avif"))[1][0] == pytest.approx(0.2290, abs=0.008)


def test_deep_pictures_keep_their_depth_under_a_profile(tmp_path):
    ramp = np.linspace(30000, 30400, 64 * 40).astype(np.uint16).reshape(40, 64)
    stack = np.dstack([ramp, ramp // 2, ramp // 3])
    assert cv2.imwrite(str(tmp_path / "plain.png"), stack[:, :, ::-1])
    plain = (tmp_path / "plain.png").read_bytes()
    with Image.open(tmp_path / "plain.png") as image:
        image.convert("RGB").save(tmp_path / "profile.png", icc_profile=P3)
    chunk = (tmp_path / "profile.png").read_bytes()
    at = chunk.index(b"iCCP") - 4
    (size,) = struct.unpack(">I", chunk[at : at + 4])
    (tmp_path / "deep.png").write_bytes(plain[:33] + chunk[at : at + size + 12] + plain[33:])
    photo = read_photo(tmp_path / "deep.png")
    assert photo.codes.dtype == np.uint16 and len(np.unique(photo.grey)) > 350
    expected = linear_light(stack) @ (np.linalg.inv(to_xyz(XY_709)) @ to_xyz(XY_P3)).T
    assert photo.pixels == pytest.approx(expected, abs=4e-4)


@pytest.mark.parametrize(
    ("colorants", "curve"), [(DISPLAY_P3, SRGB_CURVE), (ADOBE_RGB, GAMMA_2_2)], ids=["P3", "Adobe"]
)
def test_as_little_cms(tmp_path, colorants, curve):
    """On colours within sRGB; it is the library that browsers and Pillow follow profiles with."""
    rng = np.random.default_rng(4)
    codes = rng.integers(90, 170, (48, 48, 3), dtype=np.uint8)
    made = matrix_profile(colorants, curve)
    image = Image.fromarray(codes)
    image.save(tmp_path / "a.png", icc_profile=made)
    there = ImageCms.profileToProfile(
        image, ImageCms.ImageCmsProfile(io.BytesIO(made)), ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )  # fmt: skip
    theirs = np.asarray(there)
    low, high = (linear_light(np.clip(theirs.astype(int) + d, 0, 255).astype(np.uint8)) for d in (-1, 1))
    ours = read_photo(tmp_path / "a.png").pixels
    assert np.mean((ours >= low) & (ours <= high)) > 0.999
    assert np.abs(ours - linear_light(codes)).max() > 0.02  # and it does matter


def test_what_is_srgb_is_read_like_a_file_without_profile(tmp_path):
    srgb_by_table = curve_table(
        [round(65535 * float(v)) for v in linear_light(np.arange(65536, dtype=np.uint16))[::64]] + [65535]
    )
    # colorants of the sRGB profile of IEC and HP
    colorants = ((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410))
    for icc in (SRGB, matrix_profile(colorants, srgb_by_table), matrix_profile(colorants, SRGB_CURVE)):
        assert colour_of({"icc_profile": icc}, grey=False) == (None, "")
    Image.fromarray(picture()).save(tmp_path / "a.png", icc_profile=SRGB)
    assert read_photo(tmp_path / "a.png").colour is None
    for primaries, transfer in ((1, 13), (2, 2), (1, 1)):
        assert colour_of(coded(primaries, transfer), grey=False) == (None, "")


def coded(primaries, transfer):
    return {"nclx_profile": {"color_primaries": primaries, "transfer_characteristics": transfer}}


def test_high_dynamic_range_is_read_with_paper_white_as_white():
    codes = np.arange(65536, dtype=np.uint16)[None]
    for transfer, white, half in ((16, 0.5807, 0.5100), (18, 0.75, 0.6093)):
        # ITU-R BT.2408, table 1: paper white stands at 58 % of PQ and 75 % of HLG; half its light by ITU-R BT.2100
        colour, said = colour_of(coded(9, transfer), grey=False)
        light = colour.grey(np.repeat(codes[:, :, None], 3, axis=2))[0]
        assert light[round(white * 65535)] == pytest.approx(1, abs=0.002)
        assert light[[0, -1]] == pytest.approx([0, 1], abs=1e-6)
        assert light[round(half * 65535)] == pytest.approx(0.5, abs=0.005)
        assert "cut off" in said


def test_grey_profiles_and_profiles_of_other_pictures():
    codes = np.arange(256, dtype=np.uint8)[None]
    grey = profile({b"kTRC": GAMMA_2_2}, space=b"GRAY")
    colour, _ = colour_of({"icc_profile": grey}, grey=True)
    assert colour.grey(codes)[0] == pytest.approx((np.arange(256) / 255) ** (563 / 256), abs=1e-5)
    assert colour_of({"icc_profile": grey}, grey=False) == (None, "")
    assert colour_of({"icc_profile": P3}, grey=True) == (None, "")


@pytest.mark.parametrize("form", range(5))
def test_formulas_of_curves(form):
    """ICC.1:2022, table 68, each with the same power."""
    a, b, c, d, e, f = 0.9, 0.1, 0.2, 0.3, 0.05, 0.02
    given = [(2.0,), (2.0, a, b), (2.0, a, b, 0.03), (2.0, a, b, c, d), (2.0, a, b, c, d, e, f)][form]
    x = np.linspace(0, 1, 256)
    power = (a * x + b) ** 2
    expected = [x**2, power, power + 0.03, np.where(x >= d, power, c * x), np.where(x >= d, power + e, c * x + f)][form]
    tag = b"para\0\0\0\0" + struct.pack(f">Hxx{len(given)}i", form, *(round(v * 65536) for v in given))
    colour, _ = colour_of({"icc_profile": profile({b"kTRC": tag}, space=b"GRAY")}, grey=True)
    assert colour.grey(np.arange(256, dtype=np.uint8)[None])[0] == pytest.approx(np.minimum(expected, 1), abs=1e-4)


@pytest.mark.parametrize(("mode", "space"), [("RGB", b"RGB "), ("CMYK", b"CMYK")])
def test_profiles_of_tables_go_through_little_cms(tmp_path, mode, space):
    """A profile whose table makes all colours one, L* 60, a* -20, b* 0."""
    inks = len(mode)
    lab = struct.pack(">3H", round(0.6 * 65280), (128 - 20) * 256, 128 * 256)
    table = (
        b"mft2\0\0\0\0" + bytes((inks, 3, 2, 0)) + struct.pack(">9i", *(65536 * v for v in (1, 0, 0, 0, 1, 0, 0, 0, 1)))
    )
    table += struct.pack(">HH", 2, 2) + struct.pack(">2H", 0, 65535) * inks
    table += lab * 2**inks + struct.pack(">2H", 0, 65535) * 3
    made = bytearray(profile({b"A2B0": table}, space=space))
    made[8], made[20:24] = 2, b"Lab "  # ICC.1:2001-04, whose coding of Lab that is
    Image.fromarray(picture()).convert(mode).save(tmp_path / "a.tif", icc_profile=bytes(made))
    photo = read_photo(tmp_path / "a.tif")
    red, green, blue = photo.pixels[12, 12]
    # CIE 15: the luminance of L* 60; 8 bits
    assert photo.grey == pytest.approx(((60 + 16) / 116) ** 3, abs=0.006) and green > blue > red
    assert photo.warnings == ()


def test_broken_profiles_are_told_and_passed_over(tmp_path):
    rng = np.random.default_rng(7)
    said = set()
    for length in (3, 60, 131, 140, 200, len(P3) - 30):
        Image.fromarray(picture()).save(tmp_path / "a.png", icc_profile=P3[:length])
        said.update(read_photo(tmp_path / "a.png").warnings)
    assert said == {"a.png: its colour profile cannot be followed; read as sRGB"}
    for _ in range(300):
        damaged = bytearray(P3)
        for at in rng.integers(0, len(P3), 4):
            damaged[at] = rng.integers(256)
        colour, _ = colour_of({"icc_profile": bytes(damaged)}, grey=False)
        if colour is not None:
            light = colour.light(picture())
            assert light.min() >= 0 and light.max() <= 1
