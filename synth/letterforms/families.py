"""The open font families that letterforms are taken from: where each lies, and under which licence.

Fonts come as packages of their own, of the extra `pages`, and none is copied here: `fontpkg-NAME`, which holds the
files unchanged beside their licence. Versions are exact, so that a dial is the same dial on every machine.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path

from dialtell.synth.shared.errors import ParameterError

GROUPS = ("didone", "old face", "slab", "script", "grotesque")
PREFIX = "font:"


@dataclass(frozen=True)
class Family:
    """One family.

    name : as in letterforms ("bodoni-moda" in "font:bodoni-moda:roman"); the distribution is `fontpkg-` and this.
    version : of the distribution. licence : SPDX. group : one of GROUPS. upright, italic : files, "" none.
    lining : figures stand on the line, all of one height. axes : place on the axes of a variable font.
    """

    name: str
    version: str
    licence: str
    group: str
    upright: str
    italic: str = ""
    lining: bool = True
    axes: dict[str, float] = field(default_factory=dict)

    @property
    def distribution(self) -> str:
        """What pip calls it."""
        return f"fontpkg-{self.name}"

    @property
    def roles(self) -> tuple[str, ...]:
        """What letterforms it has, see letterforms.font."""
        if self.group == "script":
            return ("script",)
        if self.group == "grotesque":
            return ("figures", "capitals")
        return ("roman", *(("figures",) if self.lining else ()), "capitals", *(("text",) if self.italic else ()))

    def file(self, italic: bool = False) -> Path:
        """The font file on this machine; ParameterError where the package, in this version, is not installed."""
        remedy = f"install it: pip install {self.distribution}=={self.version}"
        try:
            found = version(self.distribution)
        except PackageNotFoundError:
            raise ParameterError(
                f"font family {self.name!r} needs {self.distribution}, not installed; {remedy}"
            ) from None
        if _release(found) != _release(self.version):
            raise ParameterError(f"font family {self.name!r} is drawn from {self.version}, not {found}; {remedy}")
        spec = find_spec(self.distribution.replace("-", "_"))
        if spec is None or spec.origin is None:
            raise ParameterError(f"font family {self.name!r}: {self.distribution} cannot be imported; {remedy}")
        return Path(spec.origin).parent / "files" / (self.italic if italic else self.upright)


def font_names(role: str, among: Collection[str]) -> tuple[str, ...]:
    """Names of the letterforms with that role of some families, in the order of the table."""
    return tuple(f"{PREFIX}{f.name}:{role}" for f in _FAMILIES if f.name in among and role in f.roles)


def _release(text: str) -> tuple[str, ...]:
    """A version by its numbers: packages write 2.005 for 2.5."""
    return tuple(part.lstrip("0") for part in text.split("."))


_OFL, _APACHE = "OFL-1.1", "Apache-2.0"


_FAMILIES = (
    # modern Roman faces, with hairlines, and their sturdier sisters
    Family("abril-fatface", "1.1", _OFL, "didone", "AbrilFatface-Regular.ttf"),
    Family(
        "bodoni-moda",
        "2.5",
        _OFL,
        "didone",
        "BodoniModa[opsz,wght].ttf",
        "BodoniModa-Italic[opsz,wght].ttf",
        axes={"wght": 500, "opsz": 28},
    ),
    Family("dm-serif-display", "5.200", _OFL, "didone", "DMSerifDisplay-Regular.ttf", "DMSerifDisplay-Italic.ttf"),
    Family("dm-serif-text", "5.200", _OFL, "didone", "DMSerifText-Regular.ttf", "DMSerifText-Italic.ttf"),
    Family("domine", "2.0", _OFL, "didone", "Domine[wght].ttf", axes={"wght": 500}),
    Family("frank-ruhl-libre", "6.4", _OFL, "didone", "FrankRuhlLibre[wght].ttf", axes={"wght": 500}),
    Family(
        "fraunces",
        "1.0",
        _OFL,
        "didone",
        "Fraunces[SOFT,WONK,opsz,wght].ttf",
        "Fraunces-Italic[SOFT,WONK,opsz,wght].ttf",
        axes={"opsz": 144, "wght": 500, "SOFT": 0, "WONK": 0},
    ),
    Family("instrument-serif", "1.0", _OFL, "didone", "InstrumentSerif-Regular.ttf", "InstrumentSerif-Italic.ttf"),
    Family(
        "libre-baskerville",
        "2.5",
        _OFL,
        "didone",
        "LibreBaskerville[wght].ttf",
        "LibreBaskerville-Italic[wght].ttf",
        axes={"wght": 400},
    ),
    Family(
        "newsreader",
        "1.3",
        _OFL,
        "didone",
        "Newsreader[opsz,wght].ttf",
        "Newsreader-Italic[opsz,wght].ttf",
        axes={"opsz": 72, "wght": 500},
    ),
    Family(
        "playfair-display",
        "1.203",
        _OFL,
        "didone",
        "PlayfairDisplay[wght].ttf",
        "PlayfairDisplay-Italic[wght].ttf",
        axes={"wght": 500},
    ),
    # old faces
    Family("cardo", "1.45", _OFL, "old face", "Cardo-Regular.ttf", "Cardo-Italic.ttf"),
    Family("cinzel", "2.0", _OFL, "old face", "Cinzel[wght].ttf", axes={"wght": 500}),
    Family(
        "cormorant", "4.0", _OFL, "old face", "Cormorant[wght].ttf", "Cormorant-Italic[wght].ttf", axes={"wght": 600}
    ),
    Family(
        "cormorant-garamond",
        "4.1",
        _OFL,
        "old face",
        "CormorantGaramond[wght].ttf",
        "CormorantGaramond-Italic[wght].ttf",
        axes={"wght": 500},
    ),
    Family(
        "crimson-pro",
        "1.3",
        _OFL,
        "old face",
        "CrimsonPro[wght].ttf",
        "CrimsonPro-Italic[wght].ttf",
        axes={"wght": 500},
    ),
    Family("crimson-text", "1.100", _OFL, "old face", "CrimsonText-Regular.ttf", "CrimsonText-Italic.ttf"),
    Family("lora", "3.8", _OFL, "old face", "Lora[wght].ttf", "Lora-Italic[wght].ttf", axes={"wght": 500}),
    Family("marcellus", "1.0", _OFL, "old face", "Marcellus-Regular.ttf", lining=False),
    Family("vollkorn", "5.1", _OFL, "old face", "Vollkorn[wght].ttf", "Vollkorn-Italic[wght].ttf", axes={"wght": 500}),
    # clarendons and other slabs
    Family("antic-slab", "1.2", _OFL, "slab", "AnticSlab-Regular.ttf"),
    Family("arvo", "1.6", _OFL, "slab", "Arvo-Regular.ttf", "Arvo-Italic.ttf"),
    Family("bitter", "3.21", _OFL, "slab", "Bitter[wght].ttf", "Bitter-Italic[wght].ttf", axes={"wght": 500}),
    Family("roboto-slab", "2.2", _APACHE, "slab", "RobotoSlab[wght].ttf", axes={"wght": 400}),
    Family("sanchez", "1.1", _OFL, "slab", "Sanchez-Regular.ttf", "Sanchez-Italic.ttf"),
    # engraver's and sign painter's scripts
    Family("dancing-script", "2.1", _OFL, "script", "DancingScript[wght].ttf", lining=False, axes={"wght": 500}),
    Family("great-vibes", "1.103", _OFL, "script", "GreatVibes-Regular.ttf", lining=False),
    Family("lobster", "2.100", _OFL, "script", "Lobster-Regular.ttf", lining=False),
    Family("lobster-two", "1.6", _OFL, "script", "LobsterTwo-Italic.ttf", lining=False),
    Family("oleo-script", "1.2", _OFL, "script", "OleoScript-Regular.ttf", lining=False),
    Family("satisfy", "1.1", _APACHE, "script", "Satisfy-Regular.ttf", lining=False),
    Family("yellowtail", "1.2", _APACHE, "script", "Yellowtail-Regular.ttf", lining=False),
    # grotesques and their like
    Family("abel", "1.3", _OFL, "grotesque", "Abel-Regular.ttf"),
    Family("anton", "2.116", _OFL, "grotesque", "Anton-Regular.ttf"),
    Family("archivo-narrow", "3.2", _OFL, "grotesque", "ArchivoNarrow[wght].ttf", axes={"wght": 500}),
    Family("bebas-neue", "2.0", _OFL, "grotesque", "BebasNeue-Regular.ttf"),
    Family("fjalla-one", "1.2", _OFL, "grotesque", "FjallaOne-Regular.ttf"),
    Family("hammersmith-one", "1.3", _OFL, "grotesque", "HammersmithOne-Regular.ttf"),
    Family("josefin-sans", "2.1", _OFL, "grotesque", "JosefinSans[wght].ttf", axes={"wght": 500}),
    Family("jost", "3.710", _OFL, "grotesque", "Jost[wght].ttf", axes={"wght": 400}),
    Family("league-spartan", "2.2", _OFL, "grotesque", "LeagueSpartan[wght].ttf", axes={"wght": 500}),
    Family("libre-franklin", "3.0", _OFL, "grotesque", "LibreFranklin[wght].ttf", axes={"wght": 500}),
    Family("news-cycle", "0.510", _OFL, "grotesque", "NewsCycle-Regular.ttf"),
    Family("oswald", "4.103", _OFL, "grotesque", "Oswald[wght].ttf", axes={"wght": 400}),
    Family("pt-sans-narrow", "2.3", _OFL, "grotesque", "PT_Sans-Narrow-Web-Regular.ttf"),
    Family("questrial", "2.0", _OFL, "grotesque", "Questrial-Regular.ttf"),
    Family("saira-condensed", "0.72", _OFL, "grotesque", "SairaCondensed-Medium.ttf"),
    Family("share-tech", "1.100", _OFL, "grotesque", "ShareTech-Regular.ttf"),
    Family("work-sans", "2.12", _OFL, "grotesque", "WorkSans[wght].ttf", axes={"wght": 400}),
)

FAMILIES: dict[str, Family] = {family.name: family for family in _FAMILIES}
