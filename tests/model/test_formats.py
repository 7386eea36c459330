"""Forms that photographs come in: each as a real encoder writes it, under whatever name, single or among several."""

import io
import struct
import subprocess
import sys

import cv2
import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image, ImageOps

from dialtell.model.reading.photo import linear_light, read_photo, walk_photos
from dialtell.synth.shared.errors import PhotoError

pillow_heif.register_heif_opener()  # to write with; the program does without
RNG = np.random.default_rng(5)
PICTURE = cv2.resize(RNG.integers(40, 216, (3, 4, 3), dtype=np.uint8), (96, 72), interpolation=cv2.INTER_CUBIC)
TEN_BITS = np.dstack([np.tile(np.linspace(500, 560, 96).astype(np.uint16), (72, 1))] * 3) + np.arange(
    3, dtype=np.uint16
)


def saved(image, form, **options):
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


def read(tmp_path, data, name="photo.jpg", **limit):
    (tmp_path / name).write_bytes(data)
    return read_photo(tmp_path / name, **limit)


def forms():
    """Name: the picture as such a file."""
    image = Image.fromarray(PICTURE)
    bgr = np.ascontiguousarray(PICTURE[:, :, ::-1])
    tiff = io.BytesIO()
    tifffile.imwrite(tiff, PICTURE, photometric="rgb")
    tiled = io.BytesIO()
    tifffile.imwrite(tiled, PICTURE, photometric="rgb", tile=(32, 32), compression="zlib", predictor=True)
    return {
        "HEIC": saved(image, "HEIF", quality=95),
        "HEIC in tiles": saved(image, "HEIF", quality=95, tile_size=64),
        "HEIC with alpha": saved(image.convert("RGBA"), "HEIF", quality=95),
        "AVIF": saved(image, "AVIF", quality=95, speed=10),
        "AVIF of OpenCV": cv2.imencode(".avif", bgr, [cv2.IMWRITE_AVIF_QUALITY, 95])[1].tobytes(),
        "WebP": saved(image, "WEBP", quality=95),
        "WebP of OpenCV": cv2.imencode(".webp", bgr, [cv2.IMWRITE_WEBP_QUALITY, 101])[1].tobytes(),
        "TIFF": tiff.getvalue(),
        "TIFF in tiles": tiled.getvalue(),
        "PNG": cv2.imencode(".png", bgr)[1].tobytes(),
        "JPEG": saved(image, "JPEG", quality=95),
        "JPEG with gain map": with_gain_map(image),
        "JPEG 2000": saved(image, "JPEG2000"),
    }


def with_gain_map(image, *, index=True):
    """A JPEG with a second, smaller one behind it, told of in XMP and in an index of pictures (CIPA DC-007)."""
    said = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF><rdf:Description hdrgm:Version="1.0"/></rdf:RDF></x:xmpmeta>'
    head = b"http://ns.adobe.com/xap/1.0/\0" + said
    gains = saved(image.resize((48, 36)).convert("L"), "JPEG")
    if index:
        base = saved(image, "MPO", save_all=True, append_images=[image.resize((48, 36)).convert("L")], quality=95)
        return base[:2] + b"\xff\xe1" + struct.pack(">H", len(head) + 2) + head + base[2:]
    base = saved(image, "JPEG", quality=95)
    return base[:2] + b"\xff\xe1" + struct.pack(">H", len(head) + 2) + head + base[2:] + gains


@pytest.mark.parametrize("form", list(forms()))
@pytest.mark.parametrize("name", ["photo.jpg", "photo.heic", "photo.png", "photo"])
def test_content_tells_the_form(tmp_path, form, name):
    photo = read(tmp_path, forms()[form], name)
    assert photo.stored_size == (96, 72) and photo.warnings == () and photo.cover is None
    # what is left after lossy compression, colours at half resolution
    assert np.abs(photo.codes.astype(int) - PICTURE).mean() < 4
    assert np.abs(photo.grey - linear_light(PICTURE) @ [0.2126, 0.7152, 0.0722]).mean() < 0.01


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["HEIF", "AVIF", "WEBP"])
def test_each_is_turned_once(tmp_path, form, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    image = Image.fromarray(PICTURE)
    photo = read(tmp_path, saved(image, form, exif=exif.tobytes(), quality=95))
    image.getexif()[0x0112] = orientation
    upright = np.asarray(ImageOps.exif_transpose(image)).astype(int)
    assert photo.codes.shape == upright.shape and np.abs(photo.codes - upright).mean() < 5


def heic_of(mode, values, **options):
    out = io.BytesIO()
    made = pillow_heif.from_bytes(mode, values.shape[1::-1], np.ascontiguousarray(values).tobytes())
    made.save(out, quality=-1, chroma=444, matrix_coefficients=0, **options)
    return out.getvalue()


def ten_bit_avif(values):
    return cv2.imencode(".avif", values, [cv2.IMWRITE_AVIF_DEPTH, 10, cv2.IMWRITE_AVIF_QUALITY, 100])[1].tobytes()


@pytest.mark.parametrize(
    "data",
    [heic_of("RGB;10", TEN_BITS), ten_bit_avif(np.ascontiguousarray(TEN_BITS[:, :, ::-1]))],
    ids=["HEIC", "AVIF"],
)
def test_ten_bits_are_kept(tmp_path, data):
    photo = read(tmp_path, data)
    assert np.array_equal(photo.codes, np.round(TEN_BITS * (65535 / 1023)))  # lossless files
    assert len(np.unique(photo.grey)) > 50  # 8 bits would leave some 16


def test_ten_bits_with_transparency_and_grey(tmp_path):
    cover = np.tile(np.linspace(0, 1023, 96).astype(np.uint16), (72, 1))
    grey, clear = TEN_BITS[:, :, 0], np.dstack([TEN_BITS, cover])
    expected = np.round(grey * (65535 / 1023))
    assert np.array_equal(read(tmp_path, heic_of("L;10", grey)).codes, expected)
    assert np.array_equal(read(tmp_path, ten_bit_avif(grey)).codes, expected)
    for data in (heic_of("RGBA;10", clear), heic_of("LA;10", np.dstack([grey, cover])), ten_bit_avif(clear)):
        photo = read(tmp_path, data)
        assert photo.codes.shape == (72, 96, 3) and "transparent parts" in photo.warnings[0]
        assert np.array_equal(photo.cover[0], np.round(cover[0] * (65535 / 1023)))


def test_of_several_pictures_the_main_one_is_read(tmp_path):
    several = [Image.new("RGB", (64, 48), colour) for colour in ("red", "lime", "blue")]
    more = {"save_all": True, "append_images": several[1:]}
    burst = read(tmp_path, saved(several[0], "HEIF", primary_index=1, **more), "a.heic")
    assert burst.pixels[20, 20] == pytest.approx([0, 1, 0], abs=0.02)
    assert burst.warnings == ("a.heic holds more than one picture; only the main one was read",)
    for form in ("AVIF", "WEBP", "TIFF"):
        photo = read(tmp_path, saved(several[0], form, **more), "a.jpg")
        assert photo.pixels[20, 20] == pytest.approx([1, 0, 0], abs=0.02)
        assert photo.warnings == ("a.jpg holds more than one picture; only the first was read",)


def test_gain_maps_are_left_where_they_are(tmp_path):
    image = Image.fromarray(PICTURE)
    for index in (True, False):
        photo = read(tmp_path, with_gain_map(image, index=index))
        assert photo.stored_size == (96, 72) and photo.warnings == ()
        with Image.open(tmp_path / "photo.jpg") as whole:
            assert np.abs(np.asarray(whole.convert("RGB")).astype(int) - photo.codes).max() <= 2
    # an index of pictures that are not there
    data = with_gain_map(image)
    assert read(tmp_path, data[: data.rindex(b"\xff\xd8")]).stored_size == (96, 72)


@pytest.mark.parametrize("form", ["HEIC", "HEIC in tiles", "AVIF", "WebP", "TIFF in tiles"])
@pytest.mark.parametrize("kept", [0.03, 0.3, 0.9, 0.99])
def test_cut_off_files_are_refused_in_words(tmp_path, form, kept):
    data = forms()[form]
    with pytest.raises(PhotoError, match=r"photo\.jpg (is cut off or damaged|is not an image)"):
        read(tmp_path, data[: int(len(data) * kept)])


def test_what_makers_append_to_heic_does_no_harm(tmp_path):
    for more in (b"appended", b"\xff" * 99, b"\0\0\xff\xffmpvd" + bytes(50)):
        assert read(tmp_path, forms()["HEIC in tiles"] + more).stored_size == (96, 72)


@pytest.mark.parametrize("form", ["HEIC", "AVIF"])
def test_pixels_are_counted_before_they_are_decoded(tmp_path, form):
    data = forms()[form]
    with pytest.raises(PhotoError, match=r"96 x 72 = 6912 pixels, more than the limit of 6000.*--max-pixels"):
        read(tmp_path, data, max_pixels=6000)
    size = b"ispe\0\0\0\0" + struct.pack(">II", 96, 72)
    assert data.count(size) == 1
    # a size the coded picture does not have: decoding it would say that it is damaged
    with pytest.raises(PhotoError, match=r"11000 x 11000 = 121000000 pixels, more than the limit"):
        read(tmp_path, data.replace(size, b"ispe\0\0\0\0" + struct.pack(">II", 11000, 11000)))


def test_a_heic_of_more_pixels_than_it_says_is_not_decoded(tmp_path):
    data = saved(Image.new("L", (3000, 2000)), "HEIF")
    size = b"ispe\0\0\0\0" + struct.pack(">II", 3000, 2000)
    assert data.count(size) == 1
    with pytest.raises(PhotoError, match="Image size 3000x2000 exceeds"):
        read(tmp_path, data.replace(size, b"ispe\0\0\0\0" + struct.pack(">II", 100, 100)))


@pytest.mark.parametrize("form", ["HEIC in tiles", "HEIC with alpha", "AVIF"])
def test_random_bytes_give_a_picture_or_words(tmp_path, form):
    data = forms()[form]
    seen = set()
    for number in range(60):
        damaged = bytearray(data)
        for at in RNG.integers(0, len(data) if number % 2 else 600, 2):
            damaged[at] = RNG.integers(256)
        try:
            photo = read(tmp_path, damaged)
            assert 0 <= photo.grey.min() <= photo.grey.max() <= 1
            seen.add("read")
        except PhotoError:
            seen.add("refused")
    assert seen == {"read", "refused"}


def raw(**tags):
    """A TIFF as cameras begin their raw files with: a small preview first."""
    out = io.BytesIO()
    extra = {"dng": (50706, "B", 4, (1, 4, 0, 0), True)}
    with tifffile.TiffWriter(out) as file:
        file.write(PICTURE, photometric="rgb", subifds=tags.get("below", 0), subfiletype=tags.get("kind", 0),
                   extratags=[extra["dng"]] if tags.get("dng") else ())  # fmt: skip
        if tags.get("below"):
            mosaic = [(33421, "H", 2, (2, 2), True), (33422, "B", 4, (0, 1, 1, 2), True)]
            file.write(PICTURE[:, :, 0], photometric="cfa", extratags=mosaic)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.dng", raw(dng=True)),
        ("a.jpg", raw(dng=True)),
        ("a.tif", raw(below=1, kind=1)),
        ("a.NEF", raw()),
        ("a.cr3", b"\0\0\0\x18ftypcrx \0\0\0\1crx isom" + bytes(99)),
        ("a.cr2", b"II*\0\x10\0\0\0CR\2\0" + bytes(99)),
        ("a.raf", b"FUJIFILMCCD-RAW 0201" + bytes(99)),
    ],
)
def test_camera_raw_is_refused_with_what_to_do(tmp_path, name, data):
    with pytest.raises(PhotoError, match=rf"{name} is camera raw \(DNG or the like\).*export it as JPEG or HEIC"):
        read(tmp_path, data, name)


def test_what_is_no_raw_is_read(tmp_path):
    assert read(tmp_path, raw(), "a.tif").stored_size == (96, 72)
    assert read(tmp_path, raw(kind=1), "b.tif").stored_size == (96, 72)
    assert read(tmp_path, forms()["JPEG"], "c.dng").stored_size == (96, 72)


def test_folders_give_all_forms_and_tell_of_raw(tmp_path, caplog):
    for name in ("a.heic", "b.HEIF", "c.hif", "d.avif", "e.webp", "f.tif", "g.tiff", "h.jpg", "i.png", "j.dng"):
        (tmp_path / name).write_bytes(b"x")
    files, errors = walk_photos([tmp_path])
    assert [file.name[0] for file in files] == list("abcdefghi") and not errors
    assert "1 camera raw (j.dng); export it as JPEG or PNG" in caplog.text


def test_heic_is_opened_by_a_library_that_loads_when_it_is_needed():
    code = "import dialtell.model.reading.photo, dialtell.evaluate.cli.main, sys; print('pillow_heif' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
