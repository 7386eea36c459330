"""Upright capitals: "serif-capitals" with hairline serifs and arms, and "block-capitals" of even weight."""

from __future__ import annotations

from dialtell.synth.letterforms.glyph import Letterform
from dialtell.synth.letterforms.notation import Pen, draw

PENS = {
    "serif-capitals": Pen(thick=0.14, thin=0.03, power=1.7, serif=0.14, bearing=0.025),
    "block-capitals": Pen(thick=0.125, thin=0.11, power=1.0, bearing=0.05),
}

SERIF = {
    "A": "74; thin 35,99 10,1; limb 35,100 60,0; bar/cross 18,33 50,33; serif 10,0 9; serif 60,0 13",
    "B": "66; post 17; curve/upper 17,98.5r ~30,98.5 49,76d 30,52.5l ~17,52.5;"
    "curve/lower 17,52.5r ~32,52.5 55,27d 32,1.5l ~17,1.5",
    "C": "72; curve/bowl 60,72@112*.3 37,98.5l*0 9.5,50d 38,1.5r*0 62,27@72*0; mark/beak 62,100*0 62,70*.3",
    "D": "74; post 17; curve/bowl 17,98.5r ~30,98.5 63,50d 30,1.5l ~17,1.5",
    "E": "64; post 17; bar/top 17,98.5 56,98.5; mark/beak 55.5,100*.25 55.5,74^; bar/middle 17,51 42,51;"
    "thin/tick 42,62 42,40; bar/foot 17,1.5 58,1.5; mark/foot-beak 57.5,0*.25 57.5,28^",
    "F": "60; post 17; bar/top 17,98.5 55,98.5; mark/beak 54.5,100*.25 54.5,73^; bar/middle 17,50 41,50;"
    "thin/tick 41,61 41,39",
    "G": "78; curve/bowl 60,72@112*.3 37,98.5l*0 9.5,50d 38,1.5r*0 58,12@40*.2;"
    "mark/beak 62,100*0 62,70*.3;"
    "stem 62,42 62,4; serif 62,42 14",
    "H": "80; post/left 17; post/right 63; bar/cross 17,51 63,51",
    "I": "34; post 17",
    "J": "52; curve/hook 33,99d*1 ~33,30*1 19,1.5l*.05 5,16u*0; serif 33,100 14; dot/ball 12,17 16",
    "K": "74; post 17; thin/arm 59,99 18,42; limb/leg 34,57 60,0; serif 59,100 12; serif 61,0 13",
    "L": "62; post 17; bar/foot 17,1.5 57,1.5; mark/foot-beak 56.5,0*.25 56.5,31^",
    "M": "92; pole/left 14; limb 17,100 45,0; thin 74,99 46,1; post/right 76",
    "N": "80; pole/left 14; limb 16,100 65,0; pole/right 65",
    "O": "78; curve/bowl 39,98.5l 9.5,50d 39,1.5r 68.5,50u 39,98.5l",
    "P": "62; post 17; curve/bowl 17,98.5r ~32,98.5 54,72d 32,46l ~17,46",
    "Q": "78; curve/bowl 39,98.5l 9.5,50d 39,1.5r 68.5,50u 39,98.5l;"
    "curve/tail 28,13@55*0 39,15@-30*.5 52,-8@-40*.8 70,-11@35^",
    "R": "72; post 17; curve/bowl 17,98.5r ~31,98.5 52,74d 31,50l ~17,50;"
    "curve/leg 34,50r*0 51,30d*1 54,8@-82*.8 61,1.5@10*.1 69,9@70*0",
    "S": "60; curve/spine 48,76@112*.3 29,98.5l*0 11,76d*.75 29,52@-32*1.05 51,25d*.75 29,1.5l*0"
    " 9,27@108*.3;"
    "mark/beak 49.5,100*0 49.5,73*.3; mark/foot-beak 8.5,0*0 8.5,29*.3",
    "T": "66; post 33; bar/top 5,98.5 61,98.5; mark/beak 5.5,100*.25 5.5,73^;mark/beak 60.5,100*.25 60.5,73^",
    "U": "78; serif 17,100 14; curve/turn 17,99d*1 ~17,30*1 40,1.5r*.1 63,30u*0 ~63,99*0; serif 63,100 11",
    "V": "74; limb 14,100 39,0; thin 64,99 40,1; serif 14,100 13; serif 64,100 10",
    "W": "104; limb/first 13,100 34,0; thin/first 54,99 35,1; limb/second 48,100 70,0;"
    "thin/second 91,99 71,1;"
    "serif 13,100 12; serif 49,100 13; serif 91,100 10",
    "X": "74; limb 16,100 58,0; thin 61,99 12,1; serif 15,100 13; serif 61,100 10; serif 12,0 10;serif 59,0 13",
    "Y": "72; limb/arm 14,100 36,45; thin/arm 61,99 38,46; stem 36,48 36,0; serif 14,100 13;"
    "serif 61,100 10;"
    "serif 36,0 14",
    "Z": "66; bar/top 7,98.5 58,98.5; limb 53,100 11,0; bar/foot 7,1.5 60,1.5;"
    "mark/beak 7.5,100*.25 7.5,74^;"
    "mark/foot-beak 59.5,0*.25 59.5,28^",
    "&": "86; curve/body 66,56@-90*.1 58,26@-115*.1 34,1.5l*.3 9,24u*.9 29,50@35*.1 46,78u*.35 33,98.5l*0 "
    "20,80d*.6 34,47@-58*1 55,16@-50*1 74,1.5@-5*.4 82,9@60*0; serif 66,57 13",
    ".": "22; dot 11,7 14",
    ",": "22; dot 11,7 14; curve/tail 16.5,7d*.2 13,-8@-115*.15 6,-16@-135*0^",
    "-": "40; mark 6,36*.4 34,36*.4",
    "'": "20; dot 10,93 14; curve/tail 15.5,93d*.2 12,78@-115*.15 6,70@-135*0^",
}

BLOCK = {
    "A": "70; limb/left 35,100 6,0; limb/right 35,100 64,0; bar/cross 15,30 55,30",
    "B": "58; stem 6,100 6,0; curve/upper 6,94.5r ~28,94.5 47,74.5d 28,53l ~6,53;"
    "curve/lower 6,53r ~30,53 51,29d 30,5.5l ~6,5.5",
    "C": "62; curve/bowl 57,76@115 35,94.5l 6,52d ~6,48 35,5.5r 58,27@65",
    "D": "62; stem 6,100 6,0; curve/bowl 6,94.5r ~26,94.5 56,56d ~56,44 26,5.5l ~6,5.5",
    "E": "52; stem 6,100 6,0; bar/top 6,94.5 50,94.5; bar/middle 6,51 44,51; bar/foot 6,5.5 51,5.5",
    "F": "50; stem 6,100 6,0; bar/top 6,94.5 49,94.5; bar/middle 6,48 42,48",
    "G": "66; curve/bowl 57,77@115 35,94.5l 6,52d ~6,48 35,5.5r 58,32u ~58,46; bar 38,43 63.5,43",
    "H": "64; stem/left 6,100 6,0; stem/right 58,100 58,0; bar/cross 6,51 58,51",
    "I": "12; stem 6,100 6,0",
    "J": "46; curve/hook 40,100d ~40,30 22,5.5l 4,27u",
    "K": "62; stem 6,100 6,0; limb/arm 55,100 8,38; limb/leg 24,60 58,0",
    "L": "50; stem 6,100 6,0; bar/foot 6,5.5 49,5.5",
    "M": "78; stem/left 6,100 6,0; limb/left 7,100 39,0; limb/right 71,100 39,0; stem/right 72,100 72,0",
    "N": "64; stem/left 6,100 6,0; limb 6,100 58,0; stem/right 58,100 58,0",
    "O": "70; curve/bowl 35,94.5l 6,54d ~6,46 35,5.5r 64,46u ~64,54 35,94.5l",
    "P": "56; stem 6,100 6,0; curve/bowl 6,94.5r ~30,94.5 50,70d 30,45l ~6,45",
    "Q": "70; curve/bowl 35,94.5l 6,54d ~6,46 35,5.5r 64,46u ~64,54 35,94.5l; stem/tail 42,24 65,-4",
    "R": "60; stem 6,100 6,0; curve/bowl 6,94.5r ~30,94.5 50,71.5d 30,48l ~6,48; limb/leg 32,50 54,0",
    "S": "58; curve/spine 50,77@115 30,94.5l 8,73d 29,51@-20 52,27d 29,5.5l 6,26@110",
    "T": "58; stem 29,100 29,0; bar/top 1,94.5 57,94.5",
    "U": "64; curve/turn 6,100d ~6,36 32,5.5r 58,36u ~58,100",
    "V": "66; limb/left 5,100 33,0; limb/right 61,100 33,0",
    "W": "94; limb/first 5,100 25,0; limb/second 47,100 26,0; limb/third 47,100 68,0;limb/fourth 89,100 69,0",
    "X": "64; limb/left 6,100 58,0; limb/right 58,100 6,0",
    "Y": "64; limb/left 5,100 32,46; limb/right 59,100 32,46; stem 32,50 32,0",
    "Z": "58; bar/top 5,94.5 53,94.5; limb 49,97 9,3; bar/foot 4,5.5 55,5.5",
    ".": "12; stem 6,13 6,0",
    "&": "74; curve/body 68,45d 55,20@-125 33,5.5l 6,28u 30,56@40 44,78u 31,94.5l 17,79d 30,56@-50 68,1@-47",
    ",": "14; stem 7,13 7,2; thin 7,4 3,-13",
    "-": "34; bar 2,42 32,42",
    "'": "12; stem 6,100 6,76",
}

_SKELETONS = {"serif-capitals": SERIF, "block-capitals": BLOCK}


def make(name: str) -> Letterform:
    """The letterform "serif-capitals" (A to Z & . , - ') or "block-capitals" (the same)."""
    pen = PENS[name]
    glyphs = {letter: draw(letter, text, pen) for letter, text in _SKELETONS[name].items()}
    return Letterform(name, glyphs, pen.thick, pen.thin, space=0.4)
