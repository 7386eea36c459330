import subprocess
import sys

import pytest
from score_schema import check_document

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.score import score


@pytest.fixture(scope="module")
def weights(make_weights):
    return str(make_weights(-9.0, -9.0))


def test_json_alone_goes_to_standard_output(drawn_photo, weights, capsys, strict_json):
    missing = drawn_photo.with_name("missing.jpg")
    code = main(["score", str(drawn_photo), str(missing), "--weights", weights, "--size", "18", "--json"])
    said = capsys.readouterr()
    document = strict_json(said.out)
    check_document(document)
    assert code == 1
    assert [dial["call"] for dial in document["dials"]] == ["printed"]
    geometry = document["dials"][0]["geometry"]
    assert geometry["pixels_per_mm"] == pytest.approx(geometry["pixels_across"] / 44.873, rel=1e-4)
    assert said.err == f"dialtell: error: {missing} does not exist; check the path\n"


def test_table_by_default(drawn_photo, weights, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "110")
    assert main(["score", str(drawn_photo), "--weights", weights]) == 0
    said = capsys.readouterr()
    assert "printed" in said.out and "minute track" in said.out and "not an authentication" in said.out
    assert said.err == ""


def test_result_in_a_file_is_never_replaced_unasked(drawn_photo, weights, capsys, tmp_path, strict_json, monkeypatch):
    out = tmp_path / "calls.json"
    words = ["score", str(drawn_photo), "--weights", weights, "--json", "--out", str(out)]
    assert main(words) == 0
    check_document(strict_json(out.read_text()))
    assert capsys.readouterr().out == ""
    out.write_text("mine")
    with monkeypatch.context() as patch:
        patch.setattr(score, "read_photo", None)  # refused before any photograph is read
        assert main(words) == 1
    said = capsys.readouterr()
    assert said.out == "" and said.err == (
        f"dialtell: error: {out} exists; give another path, or --overwrite to replace it\n"
    )
    assert out.read_text() == "mine"
    assert main([*words, "--overwrite"]) == 0
    check_document(strict_json(out.read_text()))
    assert [path.name for path in tmp_path.iterdir()] == ["calls.json"]


@pytest.mark.parametrize(
    ("where", "said"),
    [(("no", "x.json"), "there is no folder"), ((), "is a folder; give a file in it")],
)
def test_places_that_cannot_be_written(weights, capsys, tmp_path, where, said):
    out = tmp_path.joinpath(*where)
    assert main(["score", "x.png", "--weights", weights, "--out", str(out)]) == 1
    assert said in capsys.readouterr().err


def test_weights_that_are_missing_or_changed(drawn_photo, weights, capsys, tmp_path):
    assert main(["score", str(drawn_photo), "--weights", str(tmp_path / "none.safetensors")]) == 1
    assert "none.safetensors: no such file; give the .safetensors file" in capsys.readouterr().err


def test_only_errors_still_make_a_document(tmp_path, weights, capsys, strict_json):
    assert main(["score", str(tmp_path), "--weights", weights, "--json"]) == 1
    document = strict_json(capsys.readouterr().out)
    check_document(document)
    assert document["dials"] == [] and "holds no photographs" in document["errors"][0]["error"]


def test_a_photograph_without_a_dial_is_no_error(tmp_path, weights, capsys, strict_json):
    from PIL import Image

    Image.new("L", (200, 150), 90).save(tmp_path / "wall.png")
    assert main(["score", str(tmp_path), "--weights", weights, "--json"]) == 0
    (dial,) = strict_json(capsys.readouterr().out)["dials"]
    assert (dial["call"], dial["probability_hand"], dial["zones"]) == ("undetermined", None, [])


def test_traceback_only_when_asked_for(drawn_photo, weights, capsys, monkeypatch):
    def broken(photo, known, reader):
        raise RuntimeError("boom")

    monkeypatch.setattr(score, "read", broken)
    assert main(["score", str(drawn_photo), "--weights", weights, "--json"]) == 1
    quiet = capsys.readouterr()
    assert "internal error: RuntimeError: boom; please report it" in quiet.err and "Traceback" not in quiet.err
    assert main(["score", str(drawn_photo), "--weights", weights, "--json", "-v"]) == 1
    loud = capsys.readouterr()
    assert "Traceback" in loud.err and "Traceback" not in loud.out


def test_a_reader_that_stops_early_is_no_crash(tmp_path, weights):
    # the reading end is closed before anything is written
    program = (
        "import os, sys; r, w = os.pipe(); os.close(r); os.dup2(w, 1)\n"
        "from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"
    )
    command = [sys.executable, "-c", program, "score", str(tmp_path), "--weights", weights, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 1 and "Traceback" not in done.stderr and "Exception" not in done.stderr
