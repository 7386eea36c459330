"""What several tests of scoring need: untrained weights, and a drawn dial in a file. Heavy imports wait for use."""

import json
import logging
import os
import signal

import pytest

if "PYTEST_XDIST_WORKER" in os.environ:
    # a worker a core: more threads in each would only wait for one another
    os.environ.setdefault("OMP_NUM_THREADS", "1")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # started in the background by a shell: commands run in tests would inherit that they ignore Ctrl-C
    signal.signal(signal.SIGINT, signal.default_int_handler)


def _save(path, dial_offset=0.0, zone_offset=0.0):
    import torch

    from dialtell.model.net.net import NetConfig, StrokeNet
    from dialtell.model.net.weights_file import save_weights

    torch.manual_seed(0)
    net = StrokeNet(NetConfig(widths=(8, 8, 8, 16), code=16))
    record = {
        "name": "untrained",
        "version": "0",
        "renderer_version": "1",
        "training": {},
        # an untrained net's logits are near 0, so the offset alone decides the call; caps are -2 and 2
        "calibration": {"dial": {"offset": dial_offset}, "zone": {"offset": zone_offset}},
        "figures": {},
    }
    save_weights(path, net, record)
    return path


@pytest.fixture(autouse=True)
def _log_as_shipped():
    """A command line sets the level and a handler of the program's log; every test begins with neither.

    Reset at the start: a command run inside a fixture of a module or a session changes the log before any test's
    own snapshot of it could be taken.
    """
    known = [name for name in logging.Logger.manager.loggerDict if name.split(".")[0] == "dialtell"]
    for name in {"dialtell", *known}:
        log = logging.getLogger(name)
        log.setLevel(logging.NOTSET)
        log.handlers.clear()


@pytest.fixture(scope="session")
def make_weights(tmp_path_factory):
    """make_weights(dial_offset, zone_offset): file of a tiny untrained net with these calibration offsets."""
    folder, made = tmp_path_factory.mktemp("weights"), {}

    def make(dial_offset=0.0, zone_offset=0.0):
        key = dial_offset, zone_offset
        if key not in made:
            made[key] = _save(folder / f"net{len(made)}.safetensors", *key)
        return made[key]

    return make


@pytest.fixture(scope="session")
def weighty(make_weights):
    """The net that calls all painted, every place of which adds enough towards the hand to be told."""
    import torch

    from dialtell.model.net.weights_file import load_weights

    found = load_weights(make_weights(9.0, 9.0))
    with torch.no_grad():
        for voice in found.net.voices:
            voice.place[-1].bias += 0.3
    return found


@pytest.fixture(scope="session")
def drawn_truth():
    """The scene of `drawn_photo`: a dial 820 px across, tilted 8 degrees and turned by 4."""
    from drawn_dial import scene

    return scene(820.0, tilt=8.0, angle=30.0, rotation=4.0, noise=0.004, line=0.01)


@pytest.fixture(scope="session")
def drawn_photo(tmp_path_factory, drawn_truth):
    """A PNG of a simple drawn dial."""
    import cv2
    import numpy as np
    from drawn_dial import draw

    light = draw(drawn_truth, np.random.default_rng(1))
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    path = tmp_path_factory.mktemp("photo") / "watch.png"
    cv2.imwrite(str(path), np.round(255 * code).astype(np.uint8))
    return path


@pytest.fixture
def strict_json():
    """Parser of exactly one JSON document that refuses NaN and Infinity."""

    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    return lambda text: json.loads(text, parse_constant=refuse)


@pytest.fixture
def server():
    """A server of this machine whose answers the test makes up."""
    from odd_server import OddServer

    odd = OddServer()
    yield odd
    odd.close()
