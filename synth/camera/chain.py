"""A finished photograph's way from the lens to the file shown: what phones, cameras, scanners and markets add.

The spec of that way and its draw. What each step does is told in tails, capture, finishing, codecs and eyepiece;
camera.expose runs them in order.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dialtell.synth.camera.capture import Capture, sample_capture
from dialtell.synth.camera.eyepiece import Eyepiece, sample_eyepiece
from dialtell.synth.camera.finishing import Edit, Finish, sample_edit, sample_finish
from dialtell.synth.camera.tails import Tails, sample_tails
from dialtell.synth.shared.errors import require_range

WATCH_RADIUS_MM = 22.0
CAPTURE_PX_PER_MM = (8.0, 40.0)  # on a watch dial: a phone's main lens at 80 to 350 mm; 29 % of draws lie in 10 to 16
MAGNIFIED_PX_PER_MM = 40.0  # beyond this the frame is a microscope's or a macro lens's own
MAGNIFIED_RATIO = (0.4, 1.3)  # capture's scale over the frame's
MUCH_ENLARGED = 0.6  # likewise; of the captures coarser than this over half are drawn again, up to 1.1
RATIO = (0.25, 4.0)


@dataclass(frozen=True)
class Chain:
    """All that a finished photograph goes through beside what CameraSpec says.

    tails, capture, finish : of every one. edit : None where nobody made the file again. heic : quality 10..100 of the
    phone's own file, 0 for a JPEG or none; webp : quality of a market's file, likewise. eyepiece : None without.
    balanced : 0..1, share of the cast of the bright parts that automatic white balance takes out.
    """

    tails: Tails
    capture: Capture
    finish: Finish
    edit: Edit | None
    heic: int
    webp: int
    eyepiece: Eyepiece | None
    balanced: float

    def __post_init__(self) -> None:
        require_range("balanced", self.balanced, 0.0, 1.0)
        for name in ("heic", "webp"):
            if getattr(self, name) != 0:
                require_range(f"{name} quality", getattr(self, name), 10, 100)


def is_magnified(px_per_mm: float, dial_radius_mm: float) -> bool:
    """Whether a frame of that scale is a microscope's or a macro lens's, of a small dial as of a large one."""
    return px_per_mm * min(dial_radius_mm / WATCH_RADIUS_MM, 1.0) > MAGNIFIED_PX_PER_MM


def sample_ratio(*, rng: np.random.Generator, px_per_mm: float, dial_radius_mm: float) -> float:
    """Draw the scale of a capture over the frame's, 0.25..4.

    px_per_mm : of the frame. A capture's scale goes with the dial's size, as the dial fills the frame.
    """
    require_range("px_per_mm", px_per_mm, 0.2, 500.0, "px/mm")
    require_range("dial_radius_mm", dial_radius_mm, 2.0, 500.0, "mm")
    scales = np.array(CAPTURE_PX_PER_MM) * WATCH_RADIUS_MM / (dial_radius_mm * px_per_mm)
    low, high = np.log(MAGNIFIED_RATIO if is_magnified(px_per_mm, dial_radius_mm) else scales)
    ratio = float(np.exp(rng.uniform(low, high)))
    if ratio < MUCH_ENLARGED and rng.random() < 0.6:  # few enlarge a picture so much; a lens came nearer instead
        ratio = float(rng.uniform(MUCH_ENLARGED, 1.1))
    return float(np.clip(ratio, *RATIO))


def sample_chain(*, rng: np.random.Generator, ratio: float, magnified: bool, heic_share: float = 0.0) -> Chain:
    """Draw a way to the file.

    ratio : 0.25..4, scale of the capture over the frame's; above 1 the picture was made smaller, and what lens and
        sensor did is that much finer. magnified : whether the frame may be a microscope's. heic_share : 0..1.
    """
    require_range("ratio", ratio, *RATIO)
    require_range("heic_share", heic_share, 0.0, 1.0)
    finer = max(ratio, 1.0)
    tails, capture = sample_tails(rng=rng), sample_capture(rng=rng)
    heic, webp = rng.random(2) < (heic_share, 0.1)
    own, market = int(rng.integers(40, 81)), int(rng.integers(60, 93))
    edit = (
        sample_edit(rng=rng, least=1.0 if ratio > 1.3 else max(0.6 * ratio, 0.3))
        if rng.random() < (0.8 if ratio > 1.3 else 0.5)
        else None
    )
    return Chain(
        tails=replace(tails, near_px=max(tails.near_px / finer, 2.0), far_px=max(tails.far_px / finer, 5.0)),
        capture=replace(
            capture,
            residual_px=capture.residual_px / finer,
            tile_px=max(round(capture.tile_px / finer), 8),
            mosaic=capture.mosaic if finer < 1.2 else "none",
        ),
        finish=sample_finish(rng=rng),
        edit=edit,
        heic=own if heic else 0,
        webp=market if webp else 0,
        eyepiece=sample_eyepiece(rng=rng) if magnified and rng.random() < 0.6 else None,
        balanced=float(rng.uniform(0.5, 1.0)) if rng.random() < 0.85 else 0.0,
    )
