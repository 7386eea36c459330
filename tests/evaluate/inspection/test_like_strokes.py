"""The section of like strokes on a page of a drawn dial: complete, small enough, and no wider than a phone."""

import html
import json
import re
from types import SimpleNamespace

import numpy as np
import pytest
from drawn_dial import draw, photographed, scene
from page_opened import needs_browser, opened
from pages_made import MODEL, photo, sample

from dialtell.evaluate.inspection.like_strokes import _as_long, like_strokes
from dialtell.evaluate.inspection.page import PageExtras, page_text
from dialtell.model.net.explanation import Explanation
from dialtell.model.reading.steps import read_at
from dialtell.synth.shared.terms import ZONES, Zone


@pytest.fixture(scope="module")
def text():
    """A page of a drawn Roman dial, 1300 px across, with a share for every figure."""
    drawn = scene(1300, blur=0.8, noise=0.006, tilt=5.0)
    taken = photographed(draw(drawn, np.random.default_rng(1)))
    reading = read_at(taken, drawn.dial, drawn.dial.twelve_deg)
    turn = np.arange(24) * np.pi / 12
    told = Explanation(
        0.0, np.full(24, ZONES.index(Zone.NUMERALS)), 0.7 * np.stack([np.sin(turn), -np.cos(turn)], axis=1),
        np.linspace(-1, 1, 24), np.zeros((0, 2), np.int64), np.zeros(0),
    )  # fmt: skip
    like = like_strokes(reading, taken, told, 44.0)
    return page_text(sample(), photo(), None, [], MODEL, PageExtras(like=like))


def test_every_part_is_there_in_plain_words(text):
    section = text[text.index('<main id="zones"') : text.index("</main>")]
    words = re.sub(r"<[^>]+>", " ", re.sub(r'(src|style)="[^"]*"', "", section))
    for part in (
        "48 ticks", "12 five-minute marks", "like strokes of the figures", "The track unrolled",
        "The hour figures one by one", "Thin strokes against thick", "Drawn: painted by hand", "Drawn: printed",
    ):  # fmt: skip
        assert part in words, part
    assert section.count('<figure class="hand">') + section.count('<figure class="print">') == 12
    for term in ("residual", "RMS", "sigma", "standard deviation", "correlation", "pixel"):
        assert term not in words
    zones = [name.strip().lower() for name in re.findall(r'<h2 id="zone-[^>]*>([^<]+)<', section)]
    assert {"numerals", "minute track"} <= set(zones) and zones == [zone for zone in Zone if zone in zones]


def test_drawn_strokes_of_another_length_are_no_like():
    def lined(length):
        mean = np.ones((40, 20), np.float32)
        mean[20 - length // 2 : 20 + length // 2, 9:12] = 0.2
        return SimpleNamespace(mean=mean, support=np.ones(mean.shape, bool), step=1.0)

    ups = SimpleNamespace(field=SimpleNamespace(sheet=SimpleNamespace(scale=400.0)))
    assert _as_long(lined(30), ups, lined(24), ups) and _as_long(lined(24), ups, lined(30), ups)
    assert not _as_long(lined(30), ups, lined(12), ups) and not _as_long(lined(12), ups, lined(30), ups)


def test_the_page_is_below_four_megabytes(text):
    assert 100_000 < len(text.encode()) < 4_000_000


PROBE = """<script>addEventListener("load", () => {
  const cell = document.querySelector(".cell .taken"), shown = getComputedStyle(cell);
  parent.document.body.dataset.told = JSON.stringify({wide: document.documentElement.scrollWidth, window: innerWidth,
    picture: shown.backgroundImage.slice(0, 15), size: [cell.offsetWidth, cell.offsetHeight],
    over: [...document.querySelectorAll(".cells, .hours, .unrolled, .large, .thin-thick")].filter(
      e => e.getBoundingClientRect().right > innerWidth + 0.5).length});
})</script></body>"""


@needs_browser
@pytest.mark.parametrize("width", [390, 1280])
def test_it_fits_a_phone_and_a_desk(text, tmp_path, width):
    probed = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text).replace("</body>", PROBE)
    path = tmp_path / "probe.html"
    frame = f'<!doctype html><body><iframe width="{width}" height="800" style="border:0" srcdoc="{{}}"></iframe>'
    path.write_text(frame.format(html.escape(probed)), encoding="utf-8")
    dom, console = opened(path, tmp_path / "profile")
    told = json.loads(html.unescape(re.search(r'data-told="([^"]*)"', dom).group(1)))
    assert console == []
    assert told["window"] == width and told["wide"] <= width and told["over"] == 0
    assert told["picture"].startswith('url("data:image') and min(told["size"]) > 8
