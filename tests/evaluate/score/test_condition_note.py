"""Every sentence of a note rests on fields that are there; names are text and nothing else."""

import json
import re
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from PIL import Image

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.score.note import note_document, note_markdown, note_sentences
from dialtell.evaluate.score.score import score_photo
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import Known

EXAMPLES = Path(str(resources.files("dialtell.evaluate"))) / "examples"


@pytest.fixture(scope="module")
def weights():
    return load_weights(None)


def value_at(document, path):
    for part in re.findall(r"[^.\[\]]+", path):
        document = document[int(part)] if isinstance(document, list) else document[part]
    return document


@pytest.mark.parametrize("name", ["painted.jpg", "printed-transfer.jpg", "too-small.jpg"])
def test_every_sentence_is_traceable(name, weights):
    scored = score_photo(EXAMPLES / name, weights, known=Known(diameter_mm=44.873))
    document = note_document(scored, weights.identity)
    assert len(document["sentences"]) >= 3
    for sentence in document["sentences"]:
        ended = sentence["text"].rstrip(")").endswith(".")
        assert sentence["fields"] and (ended or "warnings" in sentence["fields"][0])
        for path in sentence["fields"]:
            if not path.startswith("reading."):
                assert value_at(document["dial"], path) is not None
    text = note_markdown(scored, weights.identity)
    called = scored.record["call"]
    assert {"hand-painted": "painted by hand", "printed": "appears printed"}.get(called, "could not be settled") in text
    assert "Diameter taken as 44.9 mm" in text and "not an authentication" in text


def test_nothing_is_said_of_what_is_not_there(weights, tmp_path):
    plain = tmp_path / "plain *bold* <b>.png"
    Image.new("RGB", (300, 300), (120, 120, 120)).save(plain)
    scored = score_photo(plain, weights)
    (only,) = note_sentences(scored)
    assert only.fields == ("reason",)
    assert "\\<b\\>" in note_markdown(scored, weights.identity)


def test_the_command_prints_markdown_or_one_document(capsys, tmp_path):
    assert main(["note", str(EXAMPLES / "painted.jpg"), "--sources"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("# Dial note: painted.jpg") and "`call, support" in said
    assert main(["note", str(EXAMPLES / "painted.jpg"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "dialtell.note/1"
    target = tmp_path / "note.md"
    target.write_text("mine")
    assert main(["note", str(EXAMPLES / "painted.jpg"), "--out", str(target)]) == 1
    assert target.read_text() == "mine"


@pytest.mark.parametrize("call", ["transfer", "photographic", "cannot tell"])
def test_how_a_print_was_made(call, weights):
    """Of a dial called printed, where it can be told; its sentence rests on the fields it names."""
    scored = score_photo(EXAMPLES / "printed-transfer.jpg", weights)
    assert scored.record["call"] == "printed"
    found = {"call": call, "reason": "What is seen is about 40 times more probable.", "log10_lr": 1.6}
    texts = [s for s in note_sentences(replace(scored, record={**scored.record, "print_process": found}))]
    said = [s for s in texts if "processes of print" in s.text]
    assert len(said) == (call != "cannot tell")
    for sentence in said:
        assert found["reason"] in sentence.text and "print_process.call" in sentence.fields
    undetermined = {**scored.record, "call": "undetermined", "print_process": found}
    assert not [s for s in note_sentences(replace(scored, record=undetermined)) if "processes of print" in s.text]
