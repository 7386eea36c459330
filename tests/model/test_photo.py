"""Photographs of every kind are read alike, and bad files are refused in words; Pillow is the outside reference."""

import warnings
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from dialtell.model.reading.photo import GROUND_BEHIND_TRANSPARENT, Photo, linear_light, read_photo, walk_photos
from dialtell.synth.shared.errors import PhotoError


@pytest.fixture
def picture() -> np.ndarray:
    rng = np.random.default_rng(5)
    coarse = rng.integers(0, 256, (8, 10, 3), dtype=np.uint8)
    return cv2.resize(coarse, (60, 44), interpolation=cv2.INTER_LINEAR)


def decoded(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def test_srgb_curve() -> None:
    # IEC 61966-2-1: the two branches meet at 0.04045; code 188 is close to half the light
    light = linear_light(np.arange(256, dtype=np.uint8)[None])[0]
    assert light[0] == 0 and light[255] == 1
    assert light[[5, 10, 11, 118, 188]] == pytest.approx([decoded(c / 255) for c in (5, 10, 11, 118, 188)], rel=1e-6)
    assert light[188] == pytest.approx(0.503, abs=1e-3)
    deep = linear_light(np.array([[0, 257 * 118, 65535]], dtype=np.uint16))[0]
    assert deep == pytest.approx([0, decoded(118 / 255), 1], rel=1e-6)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_orientation_as_pillow(tmp_path: Path, picture: np.ndarray, orientation: int, suffix: str) -> None:
    file = tmp_path / f"turned.{suffix}"
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(picture).save(file, exif=exif, **({"quality": 95} if suffix == "jpg" else {}))
    with Image.open(file) as image:
        expected = np.asarray(ImageOps.exif_transpose(image)).astype(int)
    photo = read_photo(file)
    assert photo.orientation == orientation and photo.stored_size == (60, 44)
    assert photo.pixels.shape == expected.shape and photo.pixels.dtype == np.float32
    # two builds of the JPEG library may round a level apart
    low, high = (linear_light(np.clip(expected + d, 0, 255).astype(np.uint8)) for d in (-2, 2))
    assert np.all((photo.pixels >= low - 1e-6) & (photo.pixels <= high + 1e-6))


def test_luminance(tmp_path: Path) -> None:
    patches = np.zeros((40, 40, 3), np.uint8)
    patches[:20, :20, 0], patches[:20, 20:, 1], patches[20:, :20, 2], patches[20:, 20:] = 255, 255, 255, 255
    Image.fromarray(patches).save(tmp_path / "a.png")
    grey = read_photo(tmp_path / "a.png").grey
    assert grey[[0, 0, -1, -1], [0, -1, 0, -1]] == pytest.approx([0.2126, 0.7152, 0.0722, 1.0], abs=1e-5)


@pytest.mark.parametrize("mode", ["1", "L", "P", "CMYK", "YCbCr", "LAB", "HSV"])
def test_modes_as_pillow_converts_them(tmp_path: Path, picture: np.ndarray, mode: str) -> None:
    image = Image.fromarray(picture).convert("RGB" if mode == "LAB" else mode)
    file = tmp_path / ("a.jpg" if mode in ("CMYK", "YCbCr") else "a.tif" if mode == "HSV" else "a.png")
    if mode in ("LAB", "HSV"):
        image = image.convert("RGB")
    image.save(file)
    with Image.open(file) as again:
        expected = linear_light(np.asarray(again.convert("RGB")))
    photo = read_photo(file)
    assert photo.pixels == pytest.approx(expected, abs=0.02)
    assert photo.warnings == ()


def test_grey_with_alpha_palette_and_rgba_on_mid_grey(tmp_path: Path) -> None:
    alpha = np.zeros((40, 40), np.uint8)
    alpha[:20], alpha[20:30] = 255, 128
    grey = Image.merge("LA", (Image.new("L", (40, 40), 255), Image.fromarray(alpha)))
    keyed = Image.fromarray(np.where(alpha == 255, 255, 0).astype(np.uint8))
    keyed.save(tmp_path / "keyed.png", transparency=0)
    for name, image in {"la.png": grey, "rgba.png": grey.convert("RGBA")}.items():
        image.save(tmp_path / name)
        photo = read_photo(tmp_path / name)
        half = 128 / 255 + (1 - 128 / 255) * GROUND_BEHIND_TRANSPARENT
        assert photo.grey[[0, 25, 39], 5] == pytest.approx([1.0, half, GROUND_BEHIND_TRANSPARENT], abs=1e-3)
        assert "transparent" in photo.warnings[0]
    assert read_photo(tmp_path / "keyed.png").grey[[0, 39], 5] == pytest.approx([1.0, 0.18], abs=1e-3)
    # nothing transparent, nothing to say
    Image.new("RGBA", (40, 40), (255, 0, 0, 255)).save(tmp_path / "full.png")
    assert read_photo(tmp_path / "full.png").warnings == ()


@pytest.mark.parametrize("channels", [1, 3, 4])
@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_sixteen_bits_keep_their_depth(tmp_path: Path, channels: int, suffix: str) -> None:
    values = np.linspace(20000, 20400, 64 * 40).astype(np.uint16).reshape(40, 64)
    stack = values if channels == 1 else np.dstack([values, values // 2, values // 4, np.full_like(values, 65535)])
    stack = stack if channels == 1 else stack[:, :, :channels]
    file = tmp_path / f"deep.{suffix}"
    swap = {1: None, 3: cv2.COLOR_RGB2BGR, 4: cv2.COLOR_RGBA2BGRA}[channels]
    assert cv2.imwrite(str(file), stack if swap is None else cv2.cvtColor(stack, swap))
    photo = read_photo(file)
    assert len(np.unique(photo.pixels[:, :, 0])) > 350  # 8 bits would leave three levels
    expected = linear_light(stack[:, :, :3] if channels > 1 else np.dstack([stack] * 3))
    assert photo.pixels == pytest.approx(expected, abs=1e-6)


def test_deep_colour_tiff_is_turned(tmp_path: Path) -> None:
    stack = np.random.default_rng(1).integers(0, 65536, (40, 50, 3)).astype(np.uint16)
    file = tmp_path / "deep.tif"
    tifffile.imwrite(file, stack, photometric="rgb", extratags=[(274, "H", 1, 6, True)])
    # EXIF 6: the stored first row is the right-hand side, so turn a quarter clockwise
    assert read_photo(file).pixels == pytest.approx(linear_light(np.rot90(stack, -1).copy()), abs=1e-6)


def test_first_of_several(tmp_path: Path) -> None:
    frames = [Image.new("RGB", (40, 40), colour) for colour in ("red", "blue")]
    for name in ("a.gif", "a.tif", "a.webp"):
        frames[0].save(tmp_path / name, save_all=True, append_images=frames[1:], **_lossless(name))
        photo = read_photo(tmp_path / name)
        assert photo.pixels[20, 20] == pytest.approx([1, 0, 0], abs=0.02)
        assert photo.warnings == (f"{name} holds more than one picture; only the first was read",)


def _lossless(name: str) -> dict[str, bool]:
    return {"lossless": True} if name.endswith("webp") else {}


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("kept", [0.3, 0.9, 0.999])
def test_cut_off_jpeg_is_refused(tmp_path: Path, picture: np.ndarray, kept: float, progressive: bool) -> None:
    exif = Image.Exif()
    exif[0x010E] = "caption \xff\xd9"  # an end marker in the metadata must not pass for the end
    whole = tmp_path / "whole.jpg"
    Image.fromarray(picture).resize((640, 480)).save(whole, quality=95, progressive=progressive, exif=exif)
    assert read_photo(whole).stored_size == (640, 480)
    content = whole.read_bytes()
    (tmp_path / "cut.jpg").write_bytes(content[: int(len(content) * kept)])
    with pytest.raises(PhotoError, match=r"cut\.jpg is cut off or damaged.*copy it again"):
        read_photo(tmp_path / "cut.jpg")
    (tmp_path / "more.jpg").write_bytes(content + b"appended by a camera")
    assert read_photo(tmp_path / "more.jpg").stored_size == (640, 480)


def test_refusals_name_file_and_remedy(tmp_path: Path, picture: np.ndarray) -> None:
    Image.fromarray(picture).save(tmp_path / "whole.png")
    content = (tmp_path / "whole.png").read_bytes()
    (tmp_path / "cut.png").write_bytes(content[: len(content) // 2])
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "notes.jpg").write_text("not a picture")
    (tmp_path / "phone.heic").write_bytes(b"\x00\x00\x00\x18ftypheic" + bytes(64))
    Image.new("L", (400, 20)).save(tmp_path / "strip.png")
    Image.fromarray(np.ones((40, 40), np.float32)).save(tmp_path / "float.tif")
    cases = {
        "cut.png": "cut off or damaged",
        "empty.jpg": "empty",
        "notes.jpg": "not an image.*give a JPEG",
        "phone.heic": "cut off or damaged",
        "strip.png": "400 x 20 px; give a photograph of at least 32 px",
        "float.tif": "floating-point samples; save it with 8 or 16 bits",
        "none.jpg": "does not exist; check the path",
        "a\0b.jpg": "check the path",
        "": "is a folder; give the photographs in it",
    }
    for name, message in cases.items():
        with pytest.raises(PhotoError, match=message) as caught:
            read_photo(tmp_path / name)
        assert name.replace("\0", "") in str(caught.value).replace("\0", "")


def test_too_many_pixels_are_refused_undecoded(tmp_path: Path) -> None:
    # a PNG head alone: a reader that decoded first would call it damaged
    Image.new("1", (11000, 11000)).save(tmp_path / "big.png")
    (tmp_path / "head.png").write_bytes((tmp_path / "big.png").read_bytes()[:60])
    Image.new("1", (20000, 20000)).save(tmp_path / "huge.png")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(PhotoError, match="11000 x 11000 = 121000000 pixels, more than the limit of 120000000"):
            read_photo(tmp_path / "head.png")
        with pytest.raises(PhotoError, match="far more pixels than the limit of 120000000; scale it down or raise"):
            read_photo(tmp_path / "huge.png")
        with pytest.raises(PhotoError, match="limit of 1000;"):
            Image.new("L", (40, 40)).save(tmp_path / "small.png")
            read_photo(tmp_path / "small.png", max_pixels=1000)


def test_random_bytes_never_escape_as_other_errors(tmp_path: Path, picture: np.ndarray) -> None:
    rng = np.random.default_rng(3)
    for suffix in ("png", "jpg", "gif", "bmp", "webp", "tif", "avif"):
        Image.fromarray(picture).save(tmp_path / f"a.{suffix}")
        content = bytearray((tmp_path / f"a.{suffix}").read_bytes())
        for _ in range(40):
            damaged = bytearray(content)
            for at in rng.integers(0, len(damaged), 4):
                damaged[at] = rng.integers(0, 256)
            (tmp_path / f"b.{suffix}").write_bytes(damaged)
            try:
                assert isinstance(read_photo(tmp_path / f"b.{suffix}"), Photo)
            except PhotoError:
                pass


def test_other_containers_are_no_photographs(tmp_path: Path) -> None:
    file = tmp_path / "film.jpg"
    file.write_bytes(b"\x00\x00\x00\x18ftypisom" + bytes(200))
    with pytest.raises(PhotoError, match="save it as JPEG or PNG"):
        read_photo(file)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("https://example.org/a.jpg", "https://example.org/a.jpg is an address, and nothing is fetched; save the "),
        ("HTTP://example.org/a.jpg", "HTTP://example.org/a.jpg is an address"),
        ("ftp://example.org/a.jpg", "ftp://example.org/a.jpg is an address"),
        ("file:///home/me/a.jpg", "file:///home/me/a.jpg is an address; give the file's path alone"),
        ("data:image/png;base64," + "A" * 5000, "... is an address"),
        ("https/a.jpg", "https/a.jpg does not exist"),
    ],
)
def test_an_address_is_no_path(given: str, said: str) -> None:
    with pytest.raises(PhotoError) as refused:
        read_photo(given)
    ((_, error),) = walk_photos([given])[1]
    assert said in str(error) and str(error) == str(refused.value) and len(str(error)) < 300


def test_a_file_named_like_an_address_is_a_file(tmp_path: Path, picture: np.ndarray, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    Image.fromarray(picture).save(tmp_path / "a.png")
    (tmp_path / "a.png").rename(tmp_path / "data:a.png")
    assert read_photo("data:a.png").stored_size == (60, 44)


def test_pictures_of_other_kinds_in_a_folder_are_told(tmp_path: Path, caplog) -> None:
    for name in ("a.png", "1.DNG", "2.dng", "3.nef", "4.cr2", "b.psd", "paper.pdf", "notes.txt", ".x.dng", "t.csv"):
        (tmp_path / name).write_bytes(b"x")
    files, errors = walk_photos([tmp_path, tmp_path])
    assert [f.name for f in files] == ["a.png"] and not errors
    told = "6 pictures were passed over: 4 camera raw (1.DNG, 2.dng, 3.nef, ...), 1 PSD (b.psd), 1 PDF (paper.pdf)"
    assert [r.getMessage() for r in caplog.records] == [f"{told}; export them as JPEG or PNG to have them read"]
    caplog.clear()
    (tmp_path / "a.png").unlink()
    assert "holds no photographs that can be read" in str(walk_photos([tmp_path])[1][0][1])
    assert len(caplog.records) == 1
    caplog.clear()
    walk_photos([tmp_path / "notes.txt", tmp_path / "paper.pdf"])  # named outright: what reads them refuses them
    assert not caplog.records


def test_walk(tmp_path: Path) -> None:
    for name in ("b.JPG", "a.png", "sub/c.tif", ".hidden.jpg", ".cache/d.jpg", "notes.txt", "paper.pdf", "film.mpg"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "none").mkdir()
    files, errors = walk_photos([tmp_path / "notes.txt", tmp_path, tmp_path / "a.png", tmp_path / "gone.jpg"])
    assert [f.name for f in files] == ["notes.txt", "a.png", "b.JPG", "c.tif"]
    assert [str(e) for _, e in errors] == [f"{tmp_path / 'gone.jpg'} does not exist; check the path"]
    files, errors = walk_photos([tmp_path / "none"])
    assert files == [] and errors[0][0] == tmp_path / "none" and "no photographs" in str(errors[0][1])
