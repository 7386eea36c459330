"""What is divided by what, and how it is written."""

from dialtell.evaluate.speed.row import SCHEMA, SpeedRow, document, table

ABOUT = {"versions": {"python": "3.11", "numpy": "2"}, "processor": "X 1", "cores": 2, "device": "cpu", "load": 0.5}


def test_a_row_is_a_multiple_of_its_yardstick_and_of_its_limit():
    row = SpeedRow("drawing", "a dial", 3, "processor", 0.5, "a product", 0.02, "bytes written once", 0.1)
    bare = SpeedRow("drawing", "another", 3, "processor", 0.5, "a product", 0.02)
    assert (row.times, row.over_limit, bare.over_limit) == (25, 5, None)
    pages = [SpeedRow("a page", "whole", 1, "wall", 2.0, "scoring", seconds) for seconds in (0.5, 0.25, 0.5)]
    lines = table([row, bare, *pages], ABOUT).splitlines()
    assert "| a dial | 3 | 500 | 25 | a product | bytes written once | 5 |" in lines
    assert "| another | 3 | 500 | 25 | a product |  |  |" in lines
    assert [line.split(" |")[0] for line in lines if " | n | ms | " in line] == ["| drawing", "| a page"]
    assert lines[-3] == "Yardsticks, ms: a product 20; scoring 500, 250."
    assert lines[-2] == "Clocks: drawing by processor time; a page by wall time."
    assert lines[-1] == "X 1, 2 cores, nets on cpu, load 0.5 at the start; python 3.11, numpy 2."


def test_the_document_holds_the_same():
    row = SpeedRow("drawing", "a dial", 5, "wall", 3.0, "another", 2.0)
    found = document([row], ABOUT)
    assert found["schema"] == SCHEMA and found["versions"] == ABOUT["versions"] and found["cores"] == 2
    assert found["rows"] == [
        {
            "part": "drawing", "what": "a dial", "n": 5, "clock": "wall", "seconds": 3.0, "yardstick": "another",
            "yardstick_seconds": 2.0, "limit": "", "limit_seconds": None, "times": 1.5, "over_limit": None,
        }
    ]  # fmt: skip
