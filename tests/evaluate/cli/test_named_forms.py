"""A file whose name promises another form than is written is refused before any work."""

import pytest

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.collection.file import CollectionFile
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.files import MARKDOWN, PAGE, require_form


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["inspect", "none.jpg", "--out", "x.pdf"], "x.pdf ends in .pdf, but what is written is a page (HTML); give a "
                                                    "name ending in .html"),
        (["inspect", "none.jpg", "--out", "x.PNG"], "x.PNG ends in .PNG"),
        (["compare", "none.jpg", "other.jpg", "--out", "x.json"], "name ending in .html"),
        (["note", "none.jpg", "--out", "x.html"], "is Markdown; give a name ending in .md"),
        (["note", "none.jpg", "--json", "--out", "x.md"], "is JSON; give a name ending in .json"),
        (["score", "none.jpg", "--json", "--out", "x.csv"], "is JSON"),
        (["score", "none.jpg", "--out", "x.csv"], "is plain text"),
        (["score", "none.jpg", "--csv", "x.xlsx"], "is a table (CSV)"),
        (["collection", "page", "a.collection", "--out", "x.pdf"], "is a page (HTML)"),
        (["collection", "export", "a.collection", "--csv", "x.json"], "is a table (CSV)"),
        (["collection", "export", "a.collection", "--json", "x.csv"], "is JSON"),
    ],
)  # fmt: skip
def test_a_name_that_promises_another_form_is_refused(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with CollectionFile(tmp_path / "a.collection", create=True):
        pass
    before = sorted(tmp_path.iterdir())
    assert main(words) == 1
    assert said in capsys.readouterr().err and sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("name", ["a.html", "a.HTM", "a", "a.watch", "no. 12", ".html"])
def test_other_names_pass(name, tmp_path):
    require_form(tmp_path / name, PAGE)


def test_each_form_takes_its_own(tmp_path):
    require_form(tmp_path / "a.txt", MARKDOWN)
    with pytest.raises(OutputError, match=r"ends in \.html"):
        require_form(tmp_path / "a.html", MARKDOWN)
