"""Round script, as engravers and dial painters wrote it: hairlines up, swelling strokes down, letters joined.

Letters are drawn upright and then slanted; weights come from the upright drawing, so every stroke swells
on its way down. Every lower-case letter begins and ends on the join, JOIN heights above the baseline, at
x = 0 and x = advance.
"""

from __future__ import annotations

import numpy as np

from dialtell.synth.letterforms.glyph import Glyph, GlyphStroke, Letterform
from dialtell.synth.letterforms.notation import Pen, draw

JOIN = 0.22  # heights above the baseline; the x-height is 0.42
PEN = Pen(thick=0.075, thin=0.018, rule="quill", power=1.4, slant=0.62)

_ENTRY = "hair/entry 0,22@62 10,42@66"
_OVAL = "curve/oval 27,34@118 17.5,42l 4,20d 15.5,0.8r 29,17@66"
_LOOP = "curve/stem 0,22@52*0 13,50@71*0 21.5,84u*0 16,99.2l*0 10,84d*.35 9.5,62d*1"
_ARCH = "15,8@74 24,41.2r 31,31d ~31,11"

LOWER = {
    "a": f"49; {_OVAL}; hair/entry 0,22@70 4.5,29@80; curve/stem 30,42d ~30,11 37.5,0.8r 49,22@62",
    "b": f"45; {_LOOP} ~9.5,12 18,0.8r 29,22u 24,39@140; hair/exit 24,39@-70 33,24@-35 38,20r 45,22@40",
    "c": "34; curve/body 24,35@110*0 16.5,42l 4,20d 17,0.8r 34,22@62; hair/entry 0,22@70 4.5,29@80;dot 22.5,34 7",
    "d": f"49; {_OVAL}; hair/entry 0,22@70 4.5,29@80; curve/stem 30,92d ~30,11 37.5,0.8r 49,22@62",
    "e": "32; curve/body 0,22@8 15,27@40 21,35u 14.5,42l 4,20d 16,0.8r 32,22@62",
    "f": f"34; {_LOOP} ~9.5,-24*1 10,-33*.4 15.5,-44.2r*0 21.5,-33u*0 10,2@128*0;hair/exit 9.5,3@-20 20,4@20 34,22@58",
    "g": f"47; {_OVAL}; hair/entry 0,22@70 4.5,29@80;"
    "curve/tail 30,42d ~30,-22*1 29.5,-32*.4 22.5,-44.2l*0 14.5,-34u*0 30,-3@48*0 47,22@58",
    "h": f"50; {_LOOP} ~9.5,1; curve/arch 9.5,8@74 20,41.2r 28,31d ~28,11 36,0.8r 50,22@60",
    "i": f"28; {_ENTRY}; curve/stem 10,42d ~10,11 17,0.8r 28,22@62; dot 12,62 9",
    "j": f"29; {_ENTRY}; curve/tail 10,42d ~10,-22*1 9.5,-32*.4 2.5,-44.2l*0 -5.5,-34u*0 10,-3@48*0"
    " 29,22@58; dot 12,62 9",
    "k": f"48; {_LOOP} ~9.5,1; curve/bowl 9.5,9@72 21,41.2r*0 27,33d*.5 13,21l*0;"
    "curve/leg 14,21r*0 25,13d*1 34,0.8r 48,22@60",
    "l": f"27; {_LOOP} ~9.5,11 16.5,0.8r 27,22@62",
    "m": f"70; curve/first 0,22@62 9,41.2r 15,31d ~15,1; curve/second {_ARCH} ~31,1;"
    "curve/third 31,8@74 40,41.2r 47,31d ~47,11 55,0.8r 70,22@60",
    "n": f"53; curve/first 0,22@62 9,41.2r 15,31d ~15,1; curve/second {_ARCH} 39,0.8r 53,22@60",
    "o": "44; curve/oval 18,42l 4,20d 16,0.8r 30,23u 18,42l; hair/entry 0,22@70 4.5,29@80;"
    "hair/exit 24,38@-75 32,24@-35 37,20r 44,22@40",
    "p": "50; hair/entry 0,22@62 14,55@70; stem 13,53 13,-42;"
    "curve/arch 13,8@74 23,41.2r 31,30d ~31,12 37,0.8r 50,22@60",
    "q": f"47; {_OVAL}; hair/entry 0,22@70 4.5,29@80;"
    "curve/tail 30,42d ~30,-24*1 30.5,-33*.4 36,-44.2r*0 42,-34u*0 30,0@130*0;"
    "hair/exit 30,1@-10 38,6@35 47,22@62",
    "r": "43; hair/entry 0,22@62 9,44@70; dot 10,44 6; curve/shoulder 10,44@-45 16,39.5r 23,39@10;"
    "curve/stem 25,40d ~25,11 32,0.8r 43,22@62",
    "s": "35; hair/entry 0,22@58 15,48@64; curve/body 15,47@-95*0 22,17d*1.05 12,0.8l*.1 4,6@110*0;"
    "dot 6,6 7;"
    "hair/exit 12,0.8r 24,6@40 35,22@60",
    "t": f"28; {_ENTRY}; curve/stem 10,72d ~10,11 17,0.8r 28,22@62; hair/cross 2,47@8 20,48@8",
    "u": f"48; {_ENTRY}; curve/first 10,42d ~10,11 17,0.8r 29,37@72;curve/second 29.5,42d ~29.5,11 37,0.8r 48,22@62",
    "v": "46; curve/body 0,22@62 8,41.2r 14,31d ~14,12 21,0.8r 31,24u 26,40@130;"
    "hair/exit 26,40@-75 34,24@-35 39,20r 46,22@40",
    "w": f"63; {_ENTRY}; curve/first 10,42d ~10,11 17,0.8r 28,37@73;"
    "curve/second 28.5,42d ~28.5,12 36,0.8r 47,24u 42,40@130;"
    "hair/exit 42,40@-75 51,24@-35 56,20r 63,22@40",
    "x": "44; curve/body 0,22@62 8,41.2r 17,22d 27,0.8r 44,22@58; hair/cross 6,1@25 17,21@62 30,41@30",
    "y": "47; curve/first 0,22@62 8,41.2r 14,31d ~14,12 20,0.8r 30,36@72;"
    "curve/tail 30.5,42d ~30.5,-22*1 30,-32*.4 23,-44.2l*0 15,-34u*0 30.5,-3@48*0 47,22@58",
    "z": "42; curve/head 0,22@55 10,41.2r 18,32d*.8 7,3@-125*0;"
    "curve/tail 7,3@50*0 14,8r*0 20,-12d*1 13,-44.2l*0 7,-35u*0 20,-6@50 42,22@50",
}

# The capitals' main stroke: a hairline that swells into the stem and runs out left in a curl with a drop.
_CURL = "28,97@-95*0 23,52d*1.1 17,9@-112*.3 7,0.8l*.05 0,9u*0"
_DROP = "dot/drop 2.5,9 8"

UPPER = {
    "A": "66; curve/left 50,99@-122*0 30,42@-122*0 10,1.5l*0 2,11u*0; dot/drop 4.5,11 8;"
    "curve/right 50,99d*.3 47,50d*1.1 ~47,14*1 54,0.8r*0 66,22@62*0; hair/cross 21,34@-15 36,36@20 52,40@5",
    "B": f"64; curve/stem {_CURL}; {_DROP};"
    "curve/bowls 8,74u*0 30,99.2r*0 53,77d*.9 29,53l*0;"
    "curve/lower 29,53r*0 55,26d*1.1 32,0.8l*0 19,11@120*0",
    "C": "56; curve/body 30,72@-80*0 40,64r*0 48,82u*0 33,99.2l*0 7,40d*1.1 27,0.8r*0 56,22@55*0",
    "D": "68; curve/stem 28,88@-95*0 24,50d*1.05 14,6@-120*.2 6,3l*0 2,9u*0 9,12@-10*0 32,0.8r*0 61,52u*0"
    " 33,99.2l*0 6,76d*0 14,64r*0",
    "E": "54; curve/upper 40,82@-80*0 44,90u*0 33,99.2l*0 14,77d*.95 30,53r*0;"
    "curve/lower 30,53l*0 6,26d*1.1 26,0.8r*0 54,22@55*0",
    "F": f"56; curve/stem {_CURL}; {_DROP}; curve/roof 2,80@75*0 16,95r*.5 38,92@-8*.6 58,99@35*0;"
    "hair/cross 16,50@10 38,52@5 40,58u",
    "G": "62; curve/body 40,74@-90*0 46,86u*0 33,99.2l*0 7,48d*1.05 24,18r*0 46,40@70*0;"
    "curve/stem 47,50d*0 44,20@-100*1 28,-6@-160*.2 14,-4@140*0 26,4@20*0 62,22@35*0",
    "H": f"74; hair/entry 4,80@70 16,97@30; curve/left {_CURL}; {_DROP};"
    "curve/right 62,99@-110*0 55,60d*1 ~53,14*1 60,0.8r*0 74,22@62*0;"
    "hair/cross 20,46@-10 40,50@20 58,58@30",
    "I": f"40; hair/entry 4,72@-60 10,68r 28,99@75; curve/stem {_CURL}; {_DROP}",
    "J": "44; hair/entry 4,72@-60 10,68r 30,99@75;"
    "curve/stem 30,98@-95*0 25,40d*1.1 22,-24@-95*.6 13,-44.2l*0 6,-34u*0"
    " 22,-4@50*0 44,22@50*0",
    "K": f"68; hair/entry 4,80@70 16,97@30; curve/stem {_CURL}; {_DROP};"
    "curve/arm 62,96@170*0 46,78@-118*.15 26,50@-160*0;"
    "curve/leg 27,50@10*0 42,30@-75*1 54,0.8r*0 68,22@60*0",
    "L": "60; curve/body 8,80@-30*0 20,76r*0 36,92u*0 28,99.2l*0 19,80d*.5 19,45d*1.1 9,5@-135*.1 3,6@100*0"
    " 14,9@-10*0 38,0.8r*.3 60,22@60*0",
    "M": "88; curve/first 30,98@-112*0 16,40@-108*0 8,1.5l*0 1,10u*0; dot/drop 3.5,10 8;"
    "curve/second 30,98d*.2 34,50@-84*1 40,2d*.5;"
    "hair/third 40,2@75 64,98@66; curve/fourth 64,98d*.2 66,50d*1.1 ~67,14*1 75,0.8r*0 88,22@62*0",
    "N": "74; curve/first 30,98@-112*0 16,40@-108*0 8,1.5l*0 1,10u*0; dot/drop 3.5,10 8;"
    "curve/second 30,98d*.2 37,50@-80*1.1 50,2d*.3;"
    "curve/third 50,2@78*0 60,70@78*0 72,98@30*0 78,92d*0; dot/drop 76,91 8",
    "O": "68; curve/body 34,99.2l*0 7,47d*1.05 30,0.8r*0 57,52u*0 34,99.2l*0 24,84d*0 38,74@10*0 62,84@40*0",
    "P": f"58; curve/stem {_CURL}; {_DROP}; curve/bowl 6,72u*0 30,99.2r*0 55,74d*1 33,46l*0 26,50@120*0",
    "Q": "68; curve/body 34,99.2l*0 7,47d*1.05 30,0.8r*0 57,52u*0 34,99.2l*0;"
    "curve/tail 16,8@60*0 26,14r*.1 44,-1@-40*.9 58,-6r*0 68,4@55*0",
    "R": f"68; curve/stem {_CURL}; {_DROP}; curve/bowl 6,72u*0 30,99.2r*0 54,76d*.95 28,50l*0;"
    "curve/leg 28,50r*0 42,30@-80*1 54,0.8r*0 68,22@60*0",
    "S": "52; hair/entry 4,10@-50 12,2r 36,70@72 38,88u 30,99.2l;"
    "curve/spine 30,99.2l*0 18,80d*.4 32,40@-75*1.1 20,0.8l*.05 4,10u*0;"
    "dot/drop 6.5,10 8",
    "T": "52; curve/stem 32,92@-100*0 25,50d*1.1 17,8@-115*.25 8,0.8l*0 1,9u*0; dot/drop 3.5,9 8;"
    "curve/roof 2,76@75*0 16,95r*.5 38,91@-8*.65 58,99@35*0",
    "U": "72; curve/body 2,80@70*0 12,98r*0 18,86d*.5 ~16,30*1.05 28,0.8r*0 52,40@80*0 56,98u*0;"
    "curve/second 56,98d*.2 52,50d*1 ~52,14*1 59,0.8r*0 72,22@62*0",
    "V": "60; curve/first 2,78@70*0 13,98r*0 19,84d*.6 20,40d*1.1 25,2@-80*.2;"
    "curve/second 25,2@70*0 44,60@74*0 58,98@30*0 64,91d*0;"
    "dot/drop 62,90 8",
    "W": "90; curve/first 2,78@70*0 13,98r*0 19,84d*.6 20,40d*1.05 24,2@-82*.2;"
    "hair/second 24,2@72 52,98@70;"
    "curve/third 52,98d*.2 50,50@-86*1.05 55,2@-82*.2;"
    "curve/fourth 55,2@70*0 73,60@74*0 86,98@30*0 92,91d*0; dot/drop 90,90 8",
    "X": "64; curve/body 4,76u*0 16,98r*0 25,80d*.5 33,22d*1.1 46,0.8r*0 64,22@60*0;"
    "curve/cross 58,90u*0 52,98l*0 30,50@-110*0 8,1.5l*0 2,9u*0; dot/drop 56,90 8; dot/drop 4.5,9 8",
    "Y": "62; curve/first 2,78@70*0 12,98r*0 17,84d*.7 ~16,62*.9 25,42r*0 44,70@75*0 48,98u*0;"
    "curve/tail 48,98d*.2 42,40d*1.1 ~40,-24*.7 32,-44.2l*0 24,-34u*0 40,-4@48*0 62,22@55*0",
    "Z": "58; curve/head 6,80@70*0 18,98r*.1 32,93@-10*.5 46,98@40*0;"
    "curve/slope 46,98@-115*0 28,50@-118*.3 8,4@-122*0;"
    "curve/foot 8,4@55*0 18,11@0*.2 36,2@-20*.9 44,0.8r*.3 58,22@60*0",
}


def make(name: str) -> Letterform:
    """The letterform "round-script": a to z, joined, and A to Z."""
    marks = {".": "16; dot 6,5 10", "-": "26; hair 4,24 22,24", "&": UPPER_AND}
    drawn = {letter: draw(letter, text, PEN) for letter, text in (LOWER | UPPER | marks).items()}
    glyphs = {letter: _seated(glyph) for letter, glyph in drawn.items()}
    return Letterform(name, glyphs, PEN.thick, PEN.thin, space=0.3)


UPPER_AND = (
    "62; curve/body 56,44@-95*0 46,18@-120*.1 28,0.8l*.3 7,22u*0 28,52@45*0 42,82u*0 32,99.2l*0 20,80d*.8"
    " 32,48@-65*1.05 46,8@-55*.5 62,6@40*0"
)


def _seated(glyph: Glyph) -> Glyph:
    """The slanted glyph moved left so that its join, not its foot, lies at x = 0."""
    shift = np.array([PEN.slant * JOIN, 0.0])
    strokes = tuple(GlyphStroke(s.path - shift, s.weight, s.kind, s.name, s.taper) for s in glyph.strokes)
    return Glyph(glyph.name, glyph.advance, strokes)
