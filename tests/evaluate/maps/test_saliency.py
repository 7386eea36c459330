import warnings

import numpy as np
import pytest
import torch

from dialtell.evaluate.maps.integrated_gradients import integrated_gradients, occlusion, paint_map
from dialtell.synth.shared.errors import ParameterError


def tiny_score(seed=0):
    """A small smooth net over a bag, whose score mixes the patches so that no patch counts alone."""
    torch.manual_seed(seed)
    net = torch.nn.Sequential(torch.nn.Conv2d(1, 4, 3), torch.nn.Softplus(), torch.nn.Conv2d(4, 1, 3)).double()
    return lambda bag: torch.logsumexp(net(bag).mean(dim=(1, 2, 3)), dim=0)


def bag(n=3, side=10):
    return torch.rand(n, 1, side, side, generator=torch.Generator().manual_seed(1), dtype=torch.float64)


def test_linear_score_gives_weight_times_input_exactly():
    weight = torch.linspace(-1, 1, 2 * 8 * 8, dtype=torch.float64).reshape(2, 1, 8, 8)
    attribution, error = integrated_gradients(lambda x: (weight * x).sum() + 3, bag(2, 8), steps=1)
    torch.testing.assert_close(attribution, weight * bag(2, 8))
    assert error < 1e-12


def test_gradients_and_occlusion_agree_with_captum():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # captum's imports
        from captum.attr import IntegratedGradients, Occlusion

    score, patches = tiny_score(), bag()

    def one_input(x):  # captum's first axis is examples: the whole bag is one example
        return torch.stack([score(part.transpose(0, 1)) for part in x])

    single = patches.transpose(0, 1)[None]
    own, error = integrated_gradients(score, patches, steps=20)
    expected = IntegratedGradients(one_input).attribute(single, n_steps=20)
    torch.testing.assert_close(own, expected[0].transpose(0, 1))
    assert error < 1e-4

    shades = torch.full((1, 1, 1, 1), 0.2, dtype=torch.float64)
    own = occlusion(score, patches, window=4, stride=3, baseline=shades)
    expected = Occlusion(one_input).attribute(
        single, sliding_window_shapes=(1, 1, 4, 4), strides=(1, 1, 3, 3), baselines=0.2
    )
    torch.testing.assert_close(own, expected[0].transpose(0, 1), check_dtype=False)


def test_completeness_error_is_told_and_falls_with_steps():
    patches = 4 * bag()
    errors = [integrated_gradients(lambda x: torch.tanh(x).sum(), patches, steps=n)[1] for n in (1, 4, 16)]
    assert errors[0] > errors[1] > 1e-3 > errors[2]


def test_gradients_work_inside_no_grad_and_leave_no_gradients():
    net = torch.nn.Linear(16, 1)
    with torch.no_grad():
        integrated_gradients(lambda x: net(x.flatten(1)).sum(), torch.rand(2, 1, 4, 4))
    assert net.weight.grad is None


def test_occlusion_at_the_border_covers_every_pixel():
    weight = torch.ones(1, 1, 7, 7)
    fall = occlusion(lambda x: (weight * x).sum(), torch.ones(1, 1, 7, 7), window=3, stride=3)
    torch.testing.assert_close(fall, torch.full((1, 1, 7, 7), 9.0))


def grid(left, top, side, step=1.0):
    across = left + step * (np.arange(side) + 0.5)
    down = top + step * (np.arange(side) + 0.5)
    return np.stack(np.meshgrid(across, down), axis=-1)


def test_map_lands_on_the_same_pixels_and_averages_overlaps():
    patches = np.stack([np.full((1, 4, 4), 1.0), np.full((1, 4, 4), -3.0)])
    painted = paint_map(patches, np.stack([grid(2, 1, 4), grid(4, 1, 4)]), (6, 10))
    expected = np.zeros((6, 10))
    expected[1:5, 2:4], expected[1:5, 4:6], expected[1:5, 6:8] = 1.0, -1.0, -3.0
    np.testing.assert_allclose(painted, expected, atol=1e-6)
    assert painted.dtype == np.float32


@pytest.mark.parametrize("step", [0.4, 1.7, 5.3])
def test_map_has_no_holes_at_any_scale_and_keeps_a_ramp(step):
    place = grid(3, 3, 12, step)
    painted = paint_map(place[None, ..., 0] + 2 * place[None, ..., 1], place[None], (80, 80))
    inside = slice(4 + int(step), int(3 + 11 * step) - 1)
    centres = np.arange(80) + 0.5
    ramp = centres[None, :] + 2 * centres[:, None]
    np.testing.assert_allclose(painted[inside, inside], ramp[inside, inside], atol=0.35)


def test_samples_off_the_photo_are_left_out():
    painted = paint_map(np.ones((1, 1, 6, 6)), grid(-3, -3, 6)[None], (8, 8))
    assert painted[:3, :3] == pytest.approx(1) and painted[4:].sum() == 0


def test_bad_shapes_are_named():
    with pytest.raises(ParameterError, match=r"score returned shape \(3,\)"):
        integrated_gradients(lambda x: x.mean(dim=(1, 2, 3)), bag())
    with pytest.raises(ParameterError, match="stride 5 px"):
        occlusion(tiny_score(), bag(), window=4, stride=5)
    with pytest.raises(ParameterError, match="grids"):
        paint_map(np.ones((1, 1, 4, 4)), np.ones((1, 3, 3, 2)), (8, 8))
