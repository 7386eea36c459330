"""Arabic figures in four styles, for hours, seconds and small track figures.

"arabic-modern": upright, strong contrast, ball terminals. "arabic-round": old round figures with a leaning
stress and strokes that swell and end in drops. "arabic-plain": block figures of nearly one width.
"arabic-teardrop": the round ones with heavy, short swellings.
"""

from __future__ import annotations

from dialtell.synth.letterforms.glyph import Glyph, Letterform
from dialtell.synth.letterforms.notation import Pen, draw, half_turn

PENS = {
    "arabic-modern": Pen(thick=0.16, thin=0.028, power=1.8, serif=0.15, bearing=0.025),
    "arabic-round": Pen(thick=0.115, thin=0.03, power=1.3, axis=18.0, bearing=0.03),
    "arabic-plain": Pen(thick=0.13, thin=0.115, power=1.0, bearing=0.03),
    "arabic-teardrop": Pen(thick=0.15, thin=0.024, power=1.5, axis=10.0, bearing=0.045),
}

MODERN = {
    "0": "66; curve/bowl 33,98.6l 9,50d 33,1.4r 57,50u 33,98.6l",
    "1": "50; hair/flag 7,77@10 19,85 27,99@75; stem 28,100 28,0; serif 28,0 19",
    "2": "62; dot/ball 15,75 20; curve/bowl 6.5,76u*0 28,98.6r*0 48,73d 31,37@-128*.35 6,3@-125*0;"
    "curve/base 4,3@40*.1 17,10@5*.62 34,7.5@-12*.8 49,10@38*.3 56,27@82*0",
    "3": "60; dot/ball 15,78 18; curve/upper 7,79u*0 26,98.6r*0 44,76d 24,52.5l*0;"
    "curve/lower 24,52.5r*0 51,27d 26,1.4l*0 6,21u*0; dot/ball 15,21 19",
    "4": "64; hair/slope 44,98@-122*0 4,27.5@-116; bar/arm 3,27.5 61,27.5; stem 44,100 44,0; serif 44,0 17",
    "5": "60; thin 13,98 13,48; curve/flag 12,96@-8*.25 29,93@-2*.62 42,95@18*.35 51,101@45^;"
    "curve/bowl 13,48@50*0 30,62r*.05 51,32d 26,1.4l*0 6,20u*0; dot/ball 15,20.5 19",
    "6": "64; curve/body 54,80u*0 37,98.6l*0 9,46d 32,1.4r 55,31u 34,60l*0 13,42@-105*0; dot/ball 45,79 19",
    "7": "58; thin 7,99 7,76; curve/flag 7,81@72*0 17,92@15*.6 34,92@-10*.68 53,98.6@30*0;"
    "curve/tail 53,99@-112*0 31,42@-107*.75 24,0d*1.05",
    "8": "62; curve/spine 31,98.6l*0 11,77d*.55 30,54@-32*.95 54,26d*.75 31,1.4l*0;"
    "curve/back 31,1.4l*0 8,25u*.7 31,53@38*.0 48.5,77u*.55 31,98.6l*0",
}

ROUND = {
    "0": "66; curve/bowl 36,98l 8,47d 29,2r 57,53u 36,98l",
    "1": "40; curve/flag 6,78@30*.45o 16,86@35*.1 23,97@55*0; curve/stem 24,100d*.75o 24,50d*1 24,0d*.85o",
    "2": "62; curve/bowl 17,73@130*1.1o 12.5,83@80*.55 31,98r*.25 50,75d*1 32,40@-128*.5 8,6@-130*.1;"
    "curve/base 6,4@48*.1 19,11@0*.75 36,6@-12*.9 49,8@32*.5 56,20@75*0^",
    "3": "58; curve/upper 12,82@80*1.1o 28,98r*.25 45,77d*.95 24,54@-170*.1;"
    "curve/lower 21,54r*.1 50,28d*1 25,2l*.25 9,14@105*.7 15,25@45*1.15o",
    "4": "64; curve/slope 42,100@-112*.35o 22,62@-123*.4 5,31@-118*.1;"
    "curve/arm 4,31@-4*.1 30,30@0*.35 61,33@14*.15o;"
    "curve/stem 43,99d*.7o 43,50d*1 43,0d*.85o",
    "5": "58; curve/neck 18,96@-97*.25 13,53@-97*.15; curve/flag 17,94@-12*.3 33,92@0*.8 51,101@42*0^;"
    "curve/bowl 13,52@45*.15 29,62r*.3 50,33d*1 25,2l*.25 8,14@110*.7 14,25@45*1.15o",
    "6": "62; curve/body 51,87@110*1.1o 39,98l*.3 8,42d*1 29,2r*.2 53,33u*.95 33,61l*.2 11,40@-105*.05",
    "7": "56; curve/flag 6,79@78*.5o 17,94@0*.8 33,92@-8*.75 53,98.5@35*.1;"
    "curve/tail 53,99@-114*.05 32,50@-112*.7 22,0d*1.1o",
    "8": "60; curve/spine 30,98.5l*.1 10,77d*.6 29,54@-35*1 52,25d*.75 29,1.5l*.15;"
    "curve/back 29,1.5l*.15 7,24u*.65 29,52@40*.15 48,77u*.5 30,98.5l*.1",
}

PLAIN = {
    "0": "66; curve/bowl 33,94l 9,62d ~9,38 33,6r 57,38u ~57,62 33,94l",
    "1": "42; curve/flag 6,77@25*.4 15,83 24,92@55*.4; stem 27,100 27,0",
    "2": "62; curve/bowl 9,74u 31,94r 52,72d 35,37@-135 11,11@-130; bar/base 3,5.8 57,5.8",
    "3": "62; curve/upper 10,77u 31,94r 50,74d 29,53l; curve/lower 24,53r 30,53r 53,29d 30,6l 8,25u",
    "4": "64; curve/slope 42,97@-121 7,29@-121; bar/arm 2,28 61,28; stem 44,100 44,0",
    "5": "62; bar/flag 8,94.2 53,94.2; thin/neck 14,97 12,47;curve/bowl 12,50@42 30,61r 53,33d 30,6l 9,23u",
    "6": "62; curve/body 51,78u 33,94l 9,50d 9,33d 31,6r 53,32u 32,58l 9.5,36d",
    "7": "56; bar/flag 3,94.2 54,94.2; curve/tail 48,93@-112 27,40@-106 21,0d",
    "8": "62; curve/upper 31,94l 12,75d 31,54r 50,75u 31,94l; curve/lower 31,54l 9,30d 31,6r 53,30u 31,54l",
}

_SKELETONS = {"arabic-modern": MODERN, "arabic-round": ROUND, "arabic-plain": PLAIN, "arabic-teardrop": ROUND}


def make(name: str) -> Letterform:
    """One of the four styles; its 9 is its 6 turned round."""
    pen = PENS[name]
    glyphs: dict[str, Glyph] = {digit: draw(digit, text, pen) for digit, text in _SKELETONS[name].items()}
    glyphs["9"] = half_turn(glyphs["6"], "9")
    return Letterform(name, glyphs, pen.thick, pen.thin)
