"""Invented makers and towns, put together from syllables; no real firm or place is meant."""

from __future__ import annotations

import numpy as np

_ONSETS = (
    "B",
    "Br",
    "C",
    "D",
    "Dr",
    "F",
    "G",
    "H",
    "K",
    "L",
    "M",
    "N",
    "P",
    "Qu",
    "R",
    "S",
    "St",
    "T",
    "Tr",
    "V",
    "W",
    "Z",
)
_NUCLEI = ("a", "e", "i", "o", "u", "ei", "ou", "ae")
_CODAS = (
    "b",
    "ck",
    "d",
    "ff",
    "gg",
    "l",
    "ll",
    "m",
    "mp",
    "n",
    "nd",
    "p",
    "r",
    "rl",
    "sk",
    "t",
    "v",
    "x",
    "z",
)
_ENDS = ("ume", "oth", "ezz", "ivar", "ulk", "onda", "irx", "aval", "ep", "ogue", "ybel", "unter")
_TOWNS = ("vik", "mouthe", "dorp", "quay", "stadt", "ham", "bourne", "ovo", "fell", "mere")
_FIRM = ("", "", "", "", " & Son", " & Co", " Watch", " Bros", " & Sons")


def invent_name(*, rng: np.random.Generator) -> str:
    """A surname nobody bears, 5 to 10 letters."""
    parts = (_ONSETS, _NUCLEI, _CODAS, _ENDS)
    return "".join(options[int(rng.integers(len(options)))] for options in parts)


def invent_maker(*, rng: np.random.Generator) -> str:
    """A signature: initials and name, or a firm."""
    name = invent_name(rng=rng)
    initial = chr(65 + int(rng.integers(26)))
    head = f"{initial}. " if rng.random() < 0.35 else ""
    return head + name + _FIRM[int(rng.integers(len(_FIRM)))]


def invent_town(*, rng: np.random.Generator) -> str:
    """A town that is on no map."""
    root = invent_name(rng=rng)[:5].rstrip("aeiou")
    return root + _TOWNS[int(rng.integers(len(_TOWNS)))]
