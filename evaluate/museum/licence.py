"""Licences of single images: which are taken without asking, which only when named, and what must be kept.

Only a statement that is known word for word counts as public domain: "not CC0" or "CC0 text, image restricted" must
not pass because the letters CC0 occur in it. Names follow Creative Commons and RightsStatements.org.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

from dialtell.synth.shared.errors import ParameterError

CC0, PUBLIC_DOMAIN = "CC0 1.0", "Public domain"
FREE = frozenset({CC0, PUBLIC_DOMAIN})

_SITE = r"https?://(?:www\.)?creativecommons\.org/"
_TAIL = r"(?:/(?:deed|legalcode)(?:\.[a-z-]+)?)?/?"
_FORMS = [
    (
        CC0,
        rf"cc[ -]?(?:0|zero)(?:[ -]1\.0)?(?: universal)?(?: \(met open access\))?|{_SITE}publicdomain/zero/1\.0{_TAIL}",
    ),
    (
        PUBLIC_DOMAIN,
        rf"public domain(?: mark)?(?: 1\.0)?|pd|pdm(?: 1\.0)?|pd-(?:old|self|us|art|scan)[a-z0-9-]*"
        rf"|{_SITE}publicdomain/mark/1\.0{_TAIL}",
    ),
]
_CC = re.compile(r"cc[ -](by(?:-nc)?(?:-(?:nd|sa))?)(?:[ -](\d\.\d))?(?: (?:international|unported))?")
_CC_URL = re.compile(rf"{_SITE}licenses/(by(?:-nc)?(?:-(?:nd|sa))?)/(\d\.\d)(?:/[a-z]{{2}})?{_TAIL}")


@dataclass(frozen=True)
class Admission:
    """Whether an image may be kept: `reason` says why not ("" when it may)."""

    licence: str
    reason: str = ""

    def __bool__(self) -> bool:
        return not self.reason


def canonical(stated: str) -> str:
    """One spelling for each known licence ("CC0 1.0", "Public domain", "CC BY-SA 4.0"); unknown text stays as it is,
    white space aside."""
    text = " ".join(stated.split())
    low = text.lower()
    for name, form in _FORMS:
        if re.fullmatch(form, low):
            return name
    found = _CC.fullmatch(low) or _CC_URL.fullmatch(low)
    if found:
        return f"CC {found[1].upper()} {found[2] or ''}".rstrip()
    return text


def admit(stated: str, attribution: str = "", *, allowed: Collection[str] = ()) -> Admission:
    """Judge one image's licence as its source states it.

    allowed : licences named by the user, from `allowed_licences`. What they cover needs an attribution, since all but
        the public domain ask for one.
    """
    licence = canonical(stated)
    if licence in FREE:
        return Admission(licence)
    if not licence:
        return Admission("", "its source states no licence")
    if licence not in allowed:
        return Admission(
            licence,
            f'its licence is "{licence}", not public domain or CC0; --allow-licence "{licence}" takes it all the same',
        )
    if not attribution.strip():
        return Admission(licence, f'its licence "{licence}" asks for an attribution and its source names nobody')
    return Admission(licence)


def allowed_licences(named: Collection[str]) -> frozenset[str]:
    """Canonical names of the licences a user allows. Raises ParameterError for an empty one."""
    if any(not name.strip() for name in named):
        raise ParameterError('allow-licence is empty; name the licence, such as "CC BY-SA 4.0"')
    return frozenset(canonical(name) for name in named)
