"""Italic letters, drawn upright and slanted, for towns and second lines; the capitals are the serif ones."""

from __future__ import annotations

from dialtell.synth.letterforms.capitals import SERIF
from dialtell.synth.letterforms.glyph import Letterform
from dialtell.synth.letterforms.notation import Pen, draw

PEN = Pen(thick=0.105, thin=0.025, power=1.6, serif=0.12, bearing=0.02, slant=0.27)

# Drawn upright, x-height 0.62. A stem starts in a hairline hook and ends in an upturned one.
_HOOK = "hair/hook 1,48@62 6,58@48 12,61.5@15; curve/first 11,62d*1"
_FLAG = "hair/flag 2,92@20 10,97@40; curve/stem 10,99d*1"
_OVAL = "curve/bowl 37,48@112*0 23,61.5l*0 7,30d*1 20,0.8r*0 37,24@72*0"
_STEM = "curve/stem 38,62d*1 ~38,14*1 46,0.8r*0 53,13@68*0"

LOWER = {
    "a": f"53; {_OVAL}; {_STEM}",
    "b": f"47; {_FLAG} ~10,22*1 22,0.8r*0 42,32u*1 29,61.5l*0 11,38@-106*0",
    "c": "44; curve/body 36,46@100*.1 24,61.5l*0 7,29d*1 22,0.8r*0 41,15@60*0; dot 33,47 13",
    "d": f"53; {_OVAL}; curve/stem 38,100d*1 ~38,14*1 46,0.8r*0 53,13@68*0; hair/flag 31,94@20 38,99@40",
    "e": "44; curve/body 9,26@10*0 31,41@60*.4 23,61.5l*0 7,29d*1 22,0.8r*0 41,15@60*0",
    "f": "38; curve/stem 42,92@100*0 33,99l*0 19,70d*1 17,10d*1 6,-22l*0 -3,-15@100*0; dot 40,90 12;"
    "dot -1,-14 12;"
    "bar/cross 5,60.5 33,60.5",
    "g": f"51; {_OVAL}; curve/tail 38,62d*1 ~38,-4*1 24,-26.5l*.1 9,-17@105*0; dot 12,-16 12",
    "h": f"52; {_FLAG} ~10,1*1; curve/arch 10,24@74*0 28,61.5r*.1 36,46d*1 ~36,14*1 44,0.8r*0 51,13@68*0",
    "i": f"26; {_HOOK} ~11,14*1 19,0.8r*0 26,13@68*0; dot 13,85 13",
    "j": f"24; {_HOOK} ~11,-4*1 1,-26.5l*.1 -8,-18@105*0; dot 13,85 13; dot -5.5,-17 11",
    "k": f"49; {_FLAG} ~10,1*1; curve/bowl 10,26@68*0 31,61.5r*.1 38,50d*.7 14,33l*0;"
    "curve/leg 16,33r*0 29,20@-75*1 41,0.8r*0 48,13@68*0",
    "l": f"26; {_FLAG} ~10,14*1 19,0.8r*0 26,13@68*0",
    "m": f"78; {_HOOK} ~11,1*1; curve/second 11,24@74*0 28,61.5r*.1 36,46d*1 ~36,1*1;"
    "curve/third 36,24@74*0 53,61.5r*.1 61,46d*1 ~61,14*1 69,0.8r*0 77,13@68*0",
    "n": f"53; {_HOOK} ~11,1*1;curve/second 11,24@74*0 28,61.5r*.1 36,46d*1 ~36,14*1 44,0.8r*0 52,13@68*0",
    "o": "49; curve/bowl 25,61.5l 7,30d 24,0.8r 42,32u 25,61.5l",
    "p": f"49; {_HOOK} ~11,-26*1; serif 11,-25 11;curve/bowl 12,40@74*0 29,61.5r*.1 42,33d*1 24,0.8l*0 12,16@110*0",
    "q": f"50; {_OVAL}; stem 38,62 38,-26; serif 38,-25 11",
    "r": f"40; {_HOOK} ~11,1*1; curve/ear 11,30@74*0 28,61.5r*0 37,52d*0; dot 34,52 13",
    "s": "39; curve/spine 31,50@100*0 21,61.5l*0 10,48d*.5 20,32@-38*1 32,15d*.6 19,0.8l*0 6,12@105*0;"
    "dot 29.5,50 11; dot 8,12 11",
    "t": "30; curve/stem 14,84@-92*.5 12,60d*1 ~12,14*1 20,0.8r*0 28,13@68*0; bar/cross 2,60.5 26,60.5",
    "u": f"54; {_HOOK} ~11,16*1 21,0.8r*.1 38,38@74*0; {_STEM}",
    "v": f"46; {_HOOK} ~12,20*1 22,0.8r*.1 39,38u*.6 32,60@140*0; dot 32,56 11",
    "w": f"70; {_HOOK} ~12,18*1 22,0.8r*.1 36,38@76*0; curve/second 37,62d*1 ~37,18*1 45,0.8r*.2 63,38u*.5"
    " 57,61@150*0; dot 58,56 11",
    "x": "48; curve/body 3,46@75*0 12,61.5r*.3 22,40@-80*1 30,8@-70*.6 38,0.8r*0 46,14@70*0;"
    "hair/cross 43,52@120 36,61l 24,34@-115 10,1l 3,9@110; dot 41,52 11; dot 5,10 11",
    "y": f"51; {_HOOK} ~11,17*1 20,0.8r*.1 37,36@74*0;"
    "curve/tail 38,62d*1 ~38,-4*1 24,-26.5l*.1 9,-17@105*0; dot 12,-16 12",
    "z": "44; curve/head 5,46@80*0 14,59@10*.5 26,57@-5*.6 39,61@25*0; hair/slope 39,61@-125 6,2@-125;"
    "curve/foot 6,2@50*0 16,8@5*.6 29,2@-10*.8 37,5@40*.3 42,17u*0",
}


def make(name: str) -> Letterform:
    """The letterform "italic-lower": a to z, A to Z and & . , - '."""
    glyphs = {letter: draw(letter, text, PEN) for letter, text in (SERIF | LOWER).items()}
    return Letterform(name, glyphs, PEN.thick, PEN.thin, space=0.32)
