import pytest

from dialtell.synth.shared.progress import progress


def test_an_interrupt_says_how_far_it_came_and_goes_on_its_way(capsys):
    done = []
    with (
        pytest.raises(KeyboardInterrupt),
        progress(3, unit="dial", reached=lambda: f"{len(done)} of 3 are drawn") as bar,
    ):
        done.append(1)
        bar.update()
        raise KeyboardInterrupt
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == "interrupted; 1 of 3 are drawn; the same command goes on from there\n"  # no bar off a terminal


def test_done_work_and_other_errors_say_nothing(capsys):
    with progress(2, unit="dial", done=1, quiet=True, reached=lambda: "x") as bar:
        bar.update()
    with pytest.raises(ValueError, match="of the work"), progress(2, unit="dial", reached=lambda: "x"):
        raise ValueError("of the work")
    assert capsys.readouterr() == ("", "")
