"""Pictures taken worse than training's: what a net is calibrated on so that it does not promise too much."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.camera.camera import roughened, sample_camera
from dialtell.synth.scene import Range, sample_spec
from dialtell.synth.shared.terms import Process


def test_a_share_of_the_pictures_and_of_them_the_camera_alone():
    """Without it every picture stays as it was drawn; twins share their camera."""
    pairs = [(sample_spec(5, index), sample_spec(5, index, Range(rough=0.5))) for index in range(60)]
    changed = [one.camera != other.camera for one, other in pairs]
    assert 15 < sum(changed) < 45
    assert all(replace(other, camera=one.camera) == one for one, other in pairs)
    spec = pairs[changed.index(True)][1]
    assert spec.as_process(Process.HAND).camera == spec.as_process(Process.TRANSFER).camera


def test_they_go_beyond_what_cameras_commonly_do():
    plain = [sample_camera(rng=np.random.default_rng(seed)) for seed in range(300)]
    rough = [roughened(camera, rng=np.random.default_rng([seed, 1])) for seed, camera in enumerate(plain)]
    for worse in (
        lambda camera: -min(camera.jpeg_after, default=100),
        lambda camera: abs(np.log(camera.gamma)),
        lambda camera: camera.balance[0] / camera.balance[2],
        lambda camera: camera.shot,
    ):
        before, after = np.array([worse(c) for c in plain]), np.array([worse(c) for c in rough])
        assert np.median(after) > np.median(before) and after.max() > before.max()


@pytest.mark.parametrize("seed", range(3))
def test_the_same_number_makes_the_same_camera(seed):
    camera = sample_camera(rng=np.random.default_rng(seed))
    one, other = (roughened(camera, rng=np.random.default_rng(seed)) for _ in range(2))
    assert one == other != camera
