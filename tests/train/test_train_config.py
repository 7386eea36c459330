"""One run as one configuration: what it refuses, and that it is written and read whole."""

import json
from dataclasses import replace

import pytest

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.record import from_record, to_record
from dialtell.train.bags.supply import CALIBRATION_SEED, FIGURES_SEED, VALIDATION_SEED, Supply
from dialtell.train.run.config import LARGEST_SEED, PRESETS, TrainConfig, preset


@pytest.mark.parametrize("name", PRESETS)
def test_record_holds_everything(name):
    config = preset(name)
    assert from_record(TrainConfig, json.loads(json.dumps(to_record(config)))) == config


def test_preset_with_changes():
    assert preset("desk", epochs=3, seed=None) == replace(PRESETS["desk"], epochs=3)
    with pytest.raises(ParameterError, match="preset is 'huge'; give one of desk, full, tiny"):
        preset("huge")


@pytest.mark.parametrize(
    ("name", "value"),
    [("epochs", 0), ("pairs", 0), ("steps", 0), ("window", 0), ("batch", 1), ("patches", 3), ("validation", 7),
     ("calibration", 0), ("rate", 0.0), ("rate", float("nan")), ("warmup", 1.5), ("decay", -0.1), ("workers", -1),
     ("seed", -1), ("seed", LARGEST_SEED + 1), ("start_share", 1.1), ("widen_share", -0.1)],
)  # fmt: skip
def test_values_out_of_range(name, value):
    with pytest.raises(ParameterError, match=f"{name} is .*; give a value from"):
        TrainConfig(**{name: value})


def test_odd_batches_would_part_twins():
    with pytest.raises(ParameterError, match="batch is 7; give an even number"):
        TrainConfig(batch=7)


def test_no_training_seed_reaches_a_held_out_set():
    held_out = (VALIDATION_SEED, CALIBRATION_SEED, FIGURES_SEED)
    assert len(set(held_out)) == 3 and min(held_out) > LARGEST_SEED


def test_number_of_workers():
    with pytest.raises(ParameterError, match="workers is -2; give"):
        Supply(-2)
