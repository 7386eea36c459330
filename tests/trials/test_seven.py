"""The evaluation photographs' table, on drawn stand-ins; the photographs themselves are not part of the project."""

import json

import pytest
from trials.outside.seven import main, manifest_rows, seven, seven_text

from dialtell.model.net.weights_file import load_weights
from dialtell.synth.shared.errors import ParameterError


def manifest(folder, drawn_photo, *rows):
    (folder / "a.png").write_bytes(drawn_photo.read_bytes())
    (folder / "b.jpg").write_text("no picture")
    path = folder / "manifest.csv"
    path.write_text("\n".join(["file,object,label,source", *rows]) + "\n", encoding="utf-8")
    return path


def test_calls_stand_beside_labels_and_what_is_missing_is_said(tmp_path, drawn_photo, make_weights):
    rows = ("a.png,x,hand-painted,s", "a.png,x,printed,s", 'a.png,x,"not a fired dial",s', "none.jpg,x,printed,s",
            "b.jpg,x,printed,s")  # fmt: skip
    document = seven(manifest(tmp_path, drawn_photo, *rows), load_weights(make_weights(9.0, 9.0)))
    assert [(row["wanted"], row["outcome"]) for row in document["calls"]] == [
        ("hand-painted", "as labelled"), ("printed", "wrong"), ("undetermined", "wrong"),
    ]  # fmt: skip
    assert document["skipped"][0]["reason"].endswith("none.jpg is not there") and len(document["skipped"]) == 2
    text = seven_text(document)
    assert "none.jpg: skipped" in text and "1 as labelled, 0 silent, 2 wrong" in text and "No photograph of" not in text


def test_silence_is_right_where_nothing_can_be_told(tmp_path, drawn_photo, make_weights, capsys):
    path = manifest(tmp_path, drawn_photo, "a.png,x,cannot tell,s", "a.png,x,hand-painted,s")
    assert main([str(path), "--weights", str(make_weights()), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["counts"] == {"as labelled": 1, "silent": 1, "wrong": 0}
    assert main([str(path), "--weights", str(make_weights())]) == 0
    assert "nothing is shown about printed dials" in capsys.readouterr().out


def test_a_manifest_that_is_none_is_named(tmp_path, capsys):
    with pytest.raises(ParameterError, match="cannot be read"):
        manifest_rows(tmp_path / "none.csv")
    (tmp_path / "m.csv").write_text("photo\nx\n", encoding="utf-8")
    with pytest.raises(ParameterError, match="no file and no label"):
        manifest_rows(tmp_path / "m.csv")
    assert main([str(tmp_path / "none.csv")]) == 1
    assert "seven: error:" in capsys.readouterr().err
