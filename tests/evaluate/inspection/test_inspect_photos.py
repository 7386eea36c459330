"""Several photographs: a page each and an index in their order; one bad photograph stops none of the others."""

import re
from urllib.parse import unquote

import pytest
from PIL import Image

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.inspection import photos as inspect_photos
from dialtell.evaluate.inspection.stated import drawable
from dialtell.evaluate.words.stated import DISAGREE, WITHHELD, stated_chance, stated_ratio, withheld


@pytest.fixture(scope="module")
def wall(tmp_path_factory):
    """A photograph without a dial, which is quick to inspect."""
    place = tmp_path_factory.mktemp("wall") / "wall.png"
    Image.new("L", (200, 150), 90).save(place)
    return place


@pytest.fixture(scope="module")
def photos(tmp_path_factory, drawn_photo, wall):
    """Four in a folder: one bad, a dial, and two of one name."""
    folder = tmp_path_factory.mktemp("photos")
    (folder / "a bad one.jpg").write_bytes(b"\xff\xd8\xff no photograph")
    (folder / "dial <b>&é.png").write_bytes(drawn_photo.read_bytes())
    for sub in ("x", "y"):
        (folder / sub).mkdir()
        (folder / sub / "wall.png").write_bytes(wall.read_bytes())
    return folder


@pytest.fixture(scope="module")
def done(photos, make_weights, tmp_path_factory):
    """Folder of pages and stills, exit status, and what was said."""
    out = tmp_path_factory.mktemp("out") / "new" / "pages"
    words = ["inspect", str(photos), "--out", str(out), "--png", str(out / "stills"), "--json"]
    weights = str(make_weights(9.0, 9.0))
    with pytest.MonkeyPatch.context() as patch:
        said = []
        patch.setattr("builtins.print", lambda text, **_: said.append(text))
        status = main([*words, "--weights", weights, "-q"])
    return out, status, "\n".join(said)


def test_one_document_for_all(done, strict_json):
    out, status, said = done
    document = strict_json(said)
    assert status == 1  # one could not be inspected
    assert set(document) == {"schema", "model", "reader", "index", "inspections", "errors"}
    assert document["schema"] == "dialtell.inspections/1" and document["index"] == str(out / "index.html")
    assert [error["photo"].rpartition("/")[2] for error in document["errors"]] == ["a bad one.jpg"]
    assert len(document["inspections"]) == 3
    for inspection in document["inspections"]:
        assert inspection["schema"] == "dialtell.inspect/1"
        for key in ("page", "still"):
            assert (out / inspection[key]).is_file()
    hints = [inspection["style_hints"] for inspection in document["inspections"]]
    assert [len(found) for found in hints] == [4, 0, 0]
    assert {hint["basis"] for hint in hints[0]} == {"common practice"}


def test_pages_are_named_after_their_photographs(done):
    out, _, _ = done
    assert sorted(file.name for file in out.glob("*.html")) == [
        "dial-b-é.html", "index.html", "wall-2.html", "wall.html",
    ]  # fmt: skip
    assert sorted(file.name for file in (out / "stills").iterdir()) == ["dial-b-é.png", "wall-2.png", "wall.png"]


def test_index_links_every_page_in_order_with_call_and_support(done, strict_json):
    out, _, said = done
    text = (out / "index.html").read_text(encoding="utf-8")
    links = [unquote(link) for link in re.findall(r'<a href="([^"]+)"', text)]
    assert links == ["dial-b-é.html", "wall.html", "wall-2.html"]
    assert all((out / link).is_file() for link in links)
    place = -1
    for inspection in strict_json(said)["inspections"]:
        dial = inspection["dial"]
        place = text.index(f"{dial['call'].capitalize()}</strong>: {dial['support']}", place + 1)
    assert "a bad one.jpg" in text and "Not inspected" in text
    # names from outside are escaped, and the page fetches nothing
    assert "dial &lt;b&gt;&amp;é.png" in text and "<b>" not in text
    assert "default-src 'none'" in text and "<script" not in text


def test_nothing_is_overwritten_unasked(done, photos, make_weights, capsys):
    out, _, _ = done
    before = {file: file.read_bytes() for file in out.rglob("*.*") if file.is_file()}
    for taken in (out / "stills" / "wall-2.png", out / "index.html"):
        others = [file for file in before if file != taken]
        for file in others:
            file.unlink()
        assert main(["inspect", str(photos), "--out", str(out), "--png", str(out / "stills")]) == 1
        assert f"{taken} exists" in capsys.readouterr().err
        assert [file for file in out.rglob("*.*") if file.is_file()] == [taken]  # refused before any work
        for file, content in before.items():
            file.write_bytes(content)


def test_several_need_a_folder(wall, tmp_path, make_weights, capsys):
    other = tmp_path / "other.png"
    other.write_bytes(wall.read_bytes())
    page = tmp_path / "page.html"
    page.write_text("mine")
    words = ["inspect", str(wall), str(other), "--weights", str(make_weights())]
    assert main([*words, "--out", str(page)]) == 1
    assert "several photographs need a folder" in capsys.readouterr().err and page.read_text() == "mine"
    assert main([*words, "--out", str(tmp_path / "pages")]) == 0
    said = capsys.readouterr()
    assert said.err == f"wrote {tmp_path / 'pages' / 'index.html'}\n" and said.out.count("undetermined") == 2


def test_one_photograph_has_a_page_and_a_still(wall, tmp_path, make_weights, capsys, strict_json):
    words = ["inspect", str(wall), "--weights", str(make_weights()), "--out", str(tmp_path / "a.html")]
    assert main([*words, "--png", str(tmp_path / "a.gif")]) == 1
    assert "give FILE.png" in capsys.readouterr().err
    assert main([*words, "--png", str(tmp_path / "a.png"), "--json"]) == 0
    document = strict_json(capsys.readouterr().out)
    assert document["schema"] == "dialtell.inspect/1" and document["still"] == str(tmp_path / "a.png")
    (tmp_path / "a.html").unlink()
    assert main([*words, "--png", str(tmp_path / "a.png")]) == 1
    assert f"{tmp_path / 'a.png'} exists" in capsys.readouterr().err
    assert not (tmp_path / "a.html").exists()  # refused before any work


def test_a_missing_photograph_is_named_and_the_rest_done(wall, tmp_path, make_weights, capsys):
    words = ["inspect", str(tmp_path / "gone.jpg"), str(wall), "--weights", str(make_weights())]
    assert main([*words, "--out", str(tmp_path / "pages")]) == 1
    assert "gone.jpgdoesnotexist" in "".join(capsys.readouterr().out.split())  # wrapped within a long path
    assert (tmp_path / "pages" / "wall.html").is_file()


def test_a_photograph_that_is_read_is_never_replaced(wall, tmp_path, make_weights, capsys):
    photo = tmp_path / "watch.png"
    photo.write_bytes(wall.read_bytes())
    words = ["--weights", str(make_weights()), "--overwrite"]
    assert main(["inspect", str(photo), *words, "--out", str(tmp_path / "a.html"), "--png", str(photo)]) == 1
    assert "is a photograph that is read" in capsys.readouterr().err
    folders = ["--out", str(tmp_path), "--png", str(tmp_path)]
    assert main(["inspect", str(photo), str(wall), *words, *folders]) == 1
    assert "is a photograph that is read" in capsys.readouterr().err
    assert photo.read_bytes() == wall.read_bytes() and list(tmp_path.iterdir()) == [photo]


def test_a_record_is_drawn_in_px_of_the_photograph_shown():
    dial = {
        "geometry": {"center_px": [10.0, 20.0], "axes_px": [8.0, 6.0], "pixels_across": 14.0}, "warnings": [],
        "zones": [{"polygon_px": [[1.0, 2.0]], "judged": False, "reason": "Not found."}],
    }  # fmt: skip
    shown = drawable(dial, 0.5)
    assert shown["geometry"] == {"center_px": [5.0, 10.0], "axes_px": [4.0, 3.0], "pixels_across": 14.0}
    assert shown["zones"][0]["polygon_px"] == [[0.5, 1.0]] and drawable(dial) == dial
    assert drawable({"geometry": None, "zones": []}) == {"geometry": None, "zones": []}


def test_no_number_is_stated_beside_withheld():
    dial = {"call": "undetermined", "log10_lr": 2.0, "probability_hand": None, "support": WITHHELD, "withheld": True}
    zone = {"judged": True, "log10_lr": 1.0, "probability_hand": 0.9}
    assert stated_ratio(dial) is None and stated_chance(dial) is None and stated_ratio(dial, zone) is None
    # where zones contradict each other each keeps its own
    mixed = dial | {"support": DISAGREE}
    assert stated_ratio(mixed) is None and stated_ratio(mixed, zone) == 1.0 and stated_chance(mixed, zone) == 0.9
    old = {key: value for key, value in dial.items() if key != "withheld"}  # as collections kept it before
    assert withheld(old) and not withheld(old | {"support": "weak support for printing"})


def test_interrupted_the_index_lists_what_was_done(wall, tmp_path, make_weights, monkeypatch, capsys):
    other = tmp_path / "other.png"
    other.write_bytes(wall.read_bytes())
    one = inspect_photos.inspect

    def stop_at_the_second(photo, *rest):
        if photo == other:
            raise KeyboardInterrupt
        return one(photo, *rest)

    monkeypatch.setattr(inspect_photos, "inspect", stop_at_the_second)
    words = ["inspect", str(wall), str(other), "--out", str(tmp_path / "pages"), "--weights", str(make_weights())]
    assert main(words) == 130
    text = (tmp_path / "pages" / "index.html").read_text(encoding="utf-8")
    assert 'href="wall.html"' in text and "other" not in text and "Traceback" not in capsys.readouterr().err
