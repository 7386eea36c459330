"""TensorBoard, if it is there: the numbers of metrics.csv and no others; if not, a way to get it."""

import builtins
import csv

import pytest
from inline_supply import InlineSupply

from dialtell.evaluate.cli.main import main
from dialtell.train.run.board import SCALARS, BoardTrainer, note
from dialtell.train.run.config import preset


class Notes:
    """In place of a SummaryWriter."""

    def __init__(self):
        self.written = []

    def add_scalar(self, name, value, step):
        self.written.append((name, value, step))

    def flush(self):
        pass


def test_each_epochs_row_is_shown(tmp_path):
    trainer = BoardTrainer(preset("tiny", device="cpu", pairs=2), tmp_path / "run")
    trainer.start_folder()
    trainer.writer = Notes()
    trainer.run(InlineSupply())
    with (tmp_path / "run" / "metrics.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    expected = [(name, float(row[name]), int(row["step"])) for row in rows for name in SCALARS]
    assert trainer.writer.written == [entry for entry in expected if entry[1] == entry[1]]
    assert len(rows) == 2


def test_what_is_no_number_is_left_out():
    notes = Notes()
    note(notes, dict.fromkeys(SCALARS, "1.5") | {"validation_auc": "nan", "step": "7"})
    assert ("validation_auc" not in {name for name, *_ in notes.written}) and len(notes.written) == len(SCALARS) - 1


def test_without_the_package_it_says_how_to_get_it_and_starts_nothing(tmp_path, monkeypatch, capsys):
    real = builtins.__import__

    def missing(name, *args, **kwargs):
        if "tensorboard" in name:
            raise ImportError("No module named 'tensorboard'")
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", missing)
    monkeypatch.chdir(tmp_path)
    assert main(["train", "--preset", "tiny", "--device", "cpu", "--tensorboard"]) == 1
    assert "install it with: pip install tensorboard" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_event_files_hold_the_scalars(tmp_path):
    pytest.importorskip("tensorboard")
    from tensorboard.backend.event_processing.event_accumulator import EventAccumulator

    from dialtell.train.run.board import open_board

    writer = open_board(tmp_path)
    note(writer, dict.fromkeys(SCALARS, "0.25") | {"step": "40"})
    writer.close()
    events = EventAccumulator(str(tmp_path))
    events.Reload()
    assert sorted(events.Tags()["scalars"]) == sorted(SCALARS)
    (point,) = events.Scalars("loss")
    assert (point.step, point.value) == (40, 0.25)
