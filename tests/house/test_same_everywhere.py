"""The same photograph and weights give the same call however the numbers are worked out.

On one thread or two, one dial or sixteen at a time, patches in small parts or all at once, after saving and loading, in
one process or two, in a process with another hash seed, and on a CUDA device where there is one. Logits are compared
as well as probabilities: caps and the ends of the scale would hide a difference.
"""

import json
import os
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import replace
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import pytest
import torch

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.score.score import score_photo
from dialtell.model.net import net as net_module
from dialtell.model.net.calibration import probability
from dialtell.model.net.in_torch import tensors
from dialtell.model.net.verdict import judge
from dialtell.model.net.weights_file import load_weights, save_weights
from dialtell.model.reading.photo import read_photo
from dialtell.model.reading.steps import read_dial
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.terms import Process

EXAMPLES = Path(str(resources.files("dialtell.evaluate"))) / "examples"
PHOTOS = [EXAMPLES / f"{name}.jpg" for name in ("painted", "printed-transfer", "printed-photographic")]
CLOSE = 1e-3  # of a probability, the promise of the README
RUN = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main())"
LOGIT = 1e-3  # of a logit on one kind of processor; measured: at most 4e-6 on logits of 8 to 13


@contextmanager
def threads(count):
    """torch and OpenCV on this many threads."""
    before = torch.get_num_threads(), cv2.getNumThreads()
    torch.set_num_threads(count)
    cv2.setNumThreads(count)
    try:
        yield
    finally:
        torch.set_num_threads(before[0])
        cv2.setNumThreads(before[1])


@pytest.fixture(scope="module")
def weights():
    return load_weights()


@pytest.fixture(scope="module")
def patches():
    """Some 40 patches of each example, over all of its dial."""
    read = [read_dial(read_photo(path)).patches for path in PHOTOS]
    return [every(own, max(len(own) // 40, 1)) for own in read]


@pytest.fixture(scope="module")
def alone(patches, weights):
    """Logits of each by itself."""
    return [outputs(weights.net, *tensors(own)) for own in patches]


def every(own, step):
    """Every so many-th patch."""
    names = ("density", "zone", "center", "right", "ink")
    return replace(own, **{name: getattr(own, name)[::step] for name in names})


def outputs(net, bag, zone, resolution):
    """dial (B,) and zone (B, Z) logits on the CPU, -inf where a zone has no patches."""
    with torch.inference_mode():
        out = net.eval()(bag, zone, resolution)
    return out.dial.cpu(), torch.where(out.present, out.zone, -torch.inf).cpu()


def assert_logits(one, other, within):
    for a, b in zip(one, other, strict=True):
        assert torch.equal(torch.isfinite(a), torch.isfinite(b))
        both = torch.isfinite(a)
        assert (a[both] - b[both]).abs().max() <= within


def uncapped(weights, logit, resolution):
    """Probability of hand from a dial's logit without the caps."""
    return probability(replace(weights.dial_calibration, low=-20.0, high=20.0).log10_lr(logit, resolution)[0])


def batch(patches, rows):
    """`rows` dials in one padded batch, as many as it takes over and over."""
    chosen = [patches[row % len(patches)] for row in range(rows)]
    longest = max(len(p) for p in chosen)
    density, zone = torch.zeros(rows, longest, 64, 64), torch.full((rows, longest), -1, dtype=torch.long)
    for row, one in enumerate(chosen):
        density[row, : len(one)], zone[row, : len(one)] = torch.from_numpy(one.density), torch.from_numpy(one.zone)
    return density, zone, torch.tensor([p.resolution for p in chosen], dtype=torch.float32)


@pytest.mark.parametrize("path", PHOTOS[:2], ids=lambda path: path.stem)
def test_one_thread_or_two(path, weights):
    """From the file to the call: reading and net alike."""
    with threads(1):
        one = score_photo(path, weights)
    with threads(2):
        two = score_photo(path, weights)
    assert one.record["call"] == two.record["call"]
    assert abs(one.record["probability_hand"] - two.record["probability_hand"]) <= CLOSE
    assert np.array_equal(one.reading.patches.density, two.reading.patches.density)  # the reading does not depend on it
    assert [z["call"] for z in one.record["zones"]] == [z["call"] for z in two.record["zones"]]
    some = tensors(every(one.reading.patches, 4))
    with threads(1):
        first = outputs(weights.net, *some)
    with threads(2):
        assert_logits(first, outputs(weights.net, *some), LOGIT)


def test_one_dial_or_sixteen(patches, alone, weights):
    dial, zone = outputs(weights.net, *batch(patches, 16))
    for row in range(16):
        index = row % len(patches)
        assert_logits(alone[index], (dial[row : row + 1], zone[row : row + 1]), LOGIT)
        level = patches[index].resolution
        gap = uncapped(weights, float(alone[index][0]), level) - uncapped(weights, float(dial[row]), level)
        assert abs(gap) <= CLOSE


@pytest.mark.parametrize("part", [1, 16, 10**6])
def test_patches_in_parts_of_any_size(part, patches, alone, weights, monkeypatch):
    monkeypatch.setattr(net_module, "_IN_CACHE", part)
    assert_logits(alone[0], outputs(weights.net, *tensors(patches[0])), LOGIT)


def test_order_of_patches(patches, alone, weights):
    bag, zone, resolution = tensors(patches[0])
    order = torch.from_numpy(np.random.default_rng(1).permutation(len(patches[0])))
    assert_logits(alone[0], outputs(weights.net, bag[:, order], zone[:, order], resolution), LOGIT)


def test_after_saving_and_loading(patches, alone, weights, tmp_path):
    """Bit for bit, twice over; the file's bytes too. What was worked out before is worked out again."""
    path = tmp_path / "again.safetensors"
    first = save_weights(path, weights.net, weights.record)
    loaded = load_weights(path)
    assert first == weights.sha256 == loaded.sha256 == save_weights(path, loaded.net, loaded.record)
    for own, before in zip(patches, alone, strict=True):
        after = outputs(loaded.net, *tensors(own))
        assert all(torch.equal(a, b) for a, b in zip(before, after, strict=True))
        one, other = judge(own, weights), judge(own, loaded)
        assert one.explanation is not None and other.explanation is not None
        assert one.explanation.record() == other.explanation.record()
        assert replace(one, explanation=None) == replace(other, explanation=None)


def test_one_worker_or_two(tmp_path, capsys):
    """The tables are the same to the byte, and agree with the document of one process; see score_stream for threads."""
    photos = [str(path) for path in PHOTOS[:2]]
    for workers in (1, 2):
        assert (
            main(["score", *photos, "--quiet", "--csv", str(tmp_path / f"{workers}.csv"), "--workers", f"{workers}"])
            == 0
        )
    assert (tmp_path / "1.csv").read_bytes() == (tmp_path / "2.csv").read_bytes()
    capsys.readouterr()
    assert main(["score", *photos, "--quiet", "--json"]) == 0
    calls = [dial["call"] for dial in json.loads(capsys.readouterr().out)["dials"]]
    assert [line.split(",")[1] for line in (tmp_path / "1.csv").read_text().splitlines()[1:]] == calls


def test_another_process_with_another_hash_seed():
    """Order of sets and dicts, and what was imported before, reach no number."""
    said = []
    for seed, count in (("0", "1"), ("4242", "2")):
        env = {**os.environ, "PYTHONHASHSEED": seed, "OMP_NUM_THREADS": count}
        command = [sys.executable, "-c", RUN, "score", str(PHOTOS[0]), "--json", "--quiet"]
        done = subprocess.run(command, env=env, capture_output=True, text=True, timeout=300, check=True)
        said.append(json.loads(done.stdout)["dials"][0])
    probabilities = [dial.pop("probability_hand") for dial in said]
    ratios = [[zone.pop(key) for zone in dial["zones"] for key in ("probability_hand", "log10_lr")] for dial in said]
    ratios = [[dial.pop("log10_lr"), *own] for dial, own in zip(said, ratios, strict=True)]
    assert abs(probabilities[0] - probabilities[1]) <= CLOSE
    assert [value is None for value in ratios[0]] == [value is None for value in ratios[1]]
    assert all(abs(a - b) <= CLOSE for a, b in zip(*ratios, strict=True) if a is not None)
    assert said[0] == said[1]


@pytest.mark.parametrize("process", list(Process))
def test_a_drawn_dial_is_the_same_on_one_thread_or_two(process):
    spec = sample_spec(31, 2, Range(pixels_per_radius=(180.0, 200.0), max_side=420)).as_process(process)
    with threads(1):
        one = render(spec)
    with threads(2):
        two = render(spec)
    assert np.array_equal(one, two)


@pytest.mark.skipif(not torch.cuda.is_available(), reason="no CUDA device")
@pytest.mark.parametrize("rows", [1, 16])
def test_on_a_cuda_device(rows, patches, weights):
    """With torch's settings as they come, TF32 included."""
    given = batch(patches, rows)
    expected = outputs(weights.net, *given)
    there = load_weights().net.to("cuda")
    found = outputs(there, *(tensor.to("cuda") for tensor in given))
    for row in range(rows):
        resolution = float(given[2][row])
        one, other = (uncapped(weights, float(dial[row]), resolution) for dial in (expected[0], found[0]))
        print(f"row {row}: logit {float(expected[0][row]):+.5f} on the CPU, {float(found[0][row]):+.5f} on CUDA")
        assert abs(one - other) <= CLOSE
        calls = [weights.dial_calibration.log10_lr(float(dial[row]), resolution)[0] for dial in (expected[0], found[0])]
        assert np.sign(calls[0]) == np.sign(calls[1]) and abs(calls[0] - calls[1]) <= 0.02
    for a, b in zip(expected, found, strict=True):
        assert torch.equal(torch.isfinite(a), torch.isfinite(b))


@pytest.mark.skipif(not torch.cuda.is_available(), reason="no CUDA device")
@pytest.mark.parametrize("photo", PHOTOS)
def test_score_on_a_cuda_device(photo, weights):
    """Both nets there, in all bits of float32: the same calls."""
    here, there = (score_photo(photo, own).record for own in (weights, load_weights(device="cuda")))
    assert here["call"] == there["call"] and abs(here["log10_lr"] - there["log10_lr"]) <= 0.02
    assert [zone["call"] for zone in here["zones"]] == [zone["call"] for zone in there["zones"]]
