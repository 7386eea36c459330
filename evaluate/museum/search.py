"""Searching the open collections of museums for objects with free photographs.

Written from the museums' published documentation and public client code; **not tried against the live services**. A
museum that answers in another shape than expected fails with a DownloadError that names it; nothing is guessed.

Every collection states rights per object or per image; what counts here is the image's. Only photographs whose
licence `admit` accepts are passed on.
"""

from __future__ import annotations

import html
import logging
import re
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import count, islice
from typing import Any
from urllib.parse import urlencode

from dialtell.evaluate.museum.licence import CC0, admit
from dialtell.evaluate.museum.records import Record, plain
from dialtell.evaluate.museum.web import Web
from dialtell.evaluate.museum.web_address import DownloadError

Json = Any
_ODD = (KeyError, TypeError, AttributeError, IndexError, ValueError)  # what reading another shape than expected raises

_PAGE = 50  # results asked for at a time
_LOOKED_AT = 10  # results looked at for each one wanted, before a search is given up


log = logging.getLogger("dialtell.gather")


@dataclass(frozen=True)
class Strange:
    """A result in another shape than expected, and what was wrong with it."""

    error: Exception


Walk = Callable[[Web, str, str, str], Iterator[Record | Strange]]  # web, base URL, words, key


@dataclass(frozen=True)
class Museum:
    """A collection with a search: its name, the base URL of its API, how to walk through the results, and whether it
    asks for a key."""

    title: str
    base: str
    walk: Walk
    keyed: bool = False


def search_museum(
    museum: Museum, words: str, web: Web, *, limit: int, allowed: Collection[str] = (), key: str = ""
) -> list[Record]:
    """At most `limit` records found by `words`, each with photographs of an accepted licence.

    allowed : licences besides the public domain, from `licence.allowed_licences`.
    key : API key where the museum asks for one.
    A result that lacks what must be known of it (its licence, its images, its number) is left out with a warning.
    Raises DownloadError when the museum cannot be asked, or answers in an unknown shape throughout.
    """
    free: list[Record] = []
    strange: list[Strange] = []
    sound = 0
    try:
        for one in islice(museum.walk(web, museum.base, words, key), _LOOKED_AT * limit):
            if isinstance(one, Strange):
                strange.append(one)
                continue
            sound += 1
            if one.image_urls and admit(one.licence, one.attribution, allowed=allowed):
                free.append(one)
            if len(free) == limit:
                break
    except _ODD as error:
        if isinstance(error, DownloadError):
            raise
        raise _unknown(museum, error) from error
    if strange and not sound:
        raise _unknown(museum, strange[0].error)
    if strange:
        what = _said_of(strange[0].error)
        log.warning("%s: %d of %d results left out, in an unknown shape (%s)", museum.title, len(strange),
                    len(strange) + sound, what)  # fmt: skip
    return free


def _unknown(museum: Museum, error: Exception) -> DownloadError:
    return DownloadError(
        f"{museum.title} answers in an unknown shape ({_said_of(error)}); its service may have changed"
    )


def _said_of(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"


def _each(rows: Iterable[Json], build: Callable[[Json], Record]) -> Iterator[Record | Strange]:
    """The record of each result; one that cannot be read does not end the search."""
    for row in rows:
        try:
            found: Record | Strange = build(row)
        except _ODD as error:
            found = Strange(error)
        yield found


def _met(web: Web, base: str, words: str, key: str) -> Iterator[Record | Strange]:
    """One search gives all object numbers, best first; each record is asked for. The search also matches texts that
    only mention a word, so objects that name none of the words are left out."""
    wanted = {word for word in re.findall(r"\w+", words.casefold()) if len(word) > 2}

    def record(one: Json) -> Record:
        said = " ".join(str(one.get(name) or "") for name in ("objectName", "title", "medium", "classification"))
        meant = not wanted or any(word in said.casefold() for word in wanted)
        return Record(
            museum="Metropolitan Museum of Art",
            licence=CC0 if one["isPublicDomain"] is True else "",
            image_urls=_urls(one["primaryImage"], *(one.get("additionalImages") or [])) if meant else (),
            object_id=_line(one["objectID"]),
            accession_number=_line(one.get("accessionNumber")),
            title=_line(one.get("title")),
            object_type=_line(one.get("objectName")),
            date_text=_line(one.get("objectDate")),
            year_begin=_year(one.get("objectBeginDate")),
            year_end=_year(one.get("objectEndDate")),
            medium=_line(one.get("medium")),
            source=_line(one.get("objectURL")),
        )

    listing = web.document(f"{base}search?{urlencode({'hasImages': 'true', 'q': words})}")
    for number in listing["objectIDs"] or []:
        try:
            one = web.document(f"{base}objects/{int(number)}")
        except DownloadError as error:
            if error.status != 404:
                raise
            yield Record("", "", ())  # listed, but withdrawn
            continue
        yield from _each([one], record)


def _cleveland(web: Web, base: str, words: str, key: str) -> Iterator[Record | Strange]:
    for skip in count(0, _PAGE):
        query = {"q": words, "cc0": "1", "has_image": "1", "limit": _PAGE, "skip": skip}
        page = web.document(f"{base}?{urlencode(query)}")["data"]
        yield from _each(page, _cleveland_record)
        if len(page) < _PAGE:
            return


def _cleveland_record(one: Json) -> Record:
    sizes = one["images"] or {}
    # "full" is a TIFF of hundreds of megabytes, "print" the largest JPEG
    size = sizes.get("print") or sizes.get("web") or {}
    return Record(
        museum="Cleveland Museum of Art",
        licence=_line(one["share_license_status"]),
        image_urls=_urls(size.get("url")),
        object_id=_line(one["id"]),
        accession_number=_line(one.get("accession_number")),
        title=_line(one.get("title")),
        object_type=_line(one.get("type")),
        date_text=_line(one.get("creation_date")),
        year_begin=_year(one.get("creation_date_earliest")),
        year_end=_year(one.get("creation_date_latest")),
        medium=_line(one.get("technique")),
        source=_line(one.get("url")),
    )


def _chicago(web: Web, base: str, words: str, key: str) -> Iterator[Record | Strange]:
    names = "id,title,main_reference_number,date_display,date_start,date_end,medium_display,artwork_type_title"
    for page in count(1):
        query = {
            "q": words,
            "query[term][is_public_domain]": "true",
            "fields": f"{names},is_public_domain,image_id,alt_image_ids",
            "limit": _PAGE,
            "page": page,
        }
        answer = web.document(f"{base}artworks/search?{urlencode(query)}")
        yield from _each(answer["data"], _chicago_record)
        if not answer["data"] or page >= answer["pagination"]["total_pages"]:
            return


def _chicago_record(one: Json) -> Record:
    images = [one["image_id"], *(one.get("alt_image_ids") or [])]
    return Record(
        museum="Art Institute of Chicago",
        licence=CC0 if one["is_public_domain"] is True else "",
        # 1686 px is the widest the museum documents; wide enough for a dial only if the dial fills the frame
        image_urls=_urls(*(f"https://www.artic.edu/iiif/2/{name}/full/1686,/0/default.jpg" for name in images if name)),
        object_id=_line(one["id"]),
        accession_number=_line(one.get("main_reference_number")),
        title=_line(one.get("title")),
        object_type=_line(one.get("artwork_type_title")),
        date_text=_line(one.get("date_display")),
        year_begin=_year(one.get("date_start")),
        year_end=_year(one.get("date_end")),
        medium=_line(one.get("medium_display")),
        source=f"https://www.artic.edu/artworks/{int(one['id'])}",
    )


def _smithsonian(web: Web, base: str, words: str, key: str) -> Iterator[Record | Strange]:
    """`metadata_usage` is about the text; each image has a `usage` of its own, and many watches' are not CC0."""
    for start in count(0, _PAGE):
        query = {"q": f"({words}) AND media_usage:CC0", "start": start, "rows": _PAGE, "api_key": key or "DEMO_KEY"}
        answer = web.document(f"{base}search?{urlencode(query)}")["response"]
        yield from _each(answer["rows"], _smithsonian_record)
        if not answer["rows"] or start + _PAGE >= answer["rowCount"]:
            return


def _smithsonian_record(row: Json) -> Record:
    facts = row["content"]["descriptiveNonRepeating"]
    free = row["content"].get("freetext") or {}
    media = (facts.get("online_media") or {}).get("media") or []
    images = [one for one in media if (one.get("usage") or {}).get("access") == "CC0" and one.get("type") == "Images"]
    return Record(
        museum=_line(facts.get("data_source")) or "Smithsonian Institution",
        licence=CC0 if images else "",
        image_urls=_urls(*(_largest(one) for one in images)),
        object_id=_line(row["id"]),
        accession_number=_free_text(free, "identifier", "accession number"),
        title=_line(row.get("title")),
        object_type=_free_text(free, "objectType"),
        date_text=_free_text(free, "date"),
        medium=_free_text(free, "physicalDescription"),
        source=_line(facts.get("record_link")),
    )


def _commons(web: Web, base: str, words: str, key: str) -> Iterator[Record | Strange]:
    """Files, not objects: one photograph a record, its licence and author from the file's page."""
    onward: dict[str, str] = {}
    while True:
        query = {
            "action": "query",
            "format": "json",
            "formatversion": "2",
            "generator": "search",
            "gsrsearch": f"{words} filetype:bitmap",
            "gsrnamespace": "6",
            "gsrlimit": str(_PAGE),
            "prop": "imageinfo",
            "iiprop": "url|extmetadata",
            "iiextmetadatafilter": "LicenseShortName|Artist|Credit|DateTimeOriginal",
            **onward,
        }
        answer = web.document(f"{base}?{urlencode(query)}")
        if "query" not in answer and "batchcomplete" in answer:
            return  # nothing found
        # the search's rank is in "index"; pages come in another order
        pages = sorted(answer["query"]["pages"], key=lambda page: int(page["index"]))
        files = [(page, info) for page in pages for info in page.get("imageinfo") or []]
        yield from _each(files, _commons_record)
        onward = {name: str(value) for name, value in (answer.get("continue") or {}).items()}
        if not pages or not onward:
            return


def _commons_record(file: Json) -> Record:
    page, info = file
    said = {name: _line(entry.get("value")) for name, entry in (info.get("extmetadata") or {}).items()}
    return Record(
        museum="Wikimedia Commons",
        licence=said.get("LicenseShortName", ""),
        attribution=said.get("Artist", "") or said.get("Credit", ""),
        image_urls=_urls(info["url"]),
        object_id=_line(page["pageid"]),
        title=_line(page["title"]).removeprefix("File:"),
        date_text=said.get("DateTimeOriginal", ""),
        source=_line(info.get("descriptionurl")),
    )


MUSEUMS = {
    "met": Museum("Metropolitan Museum of Art", "https://collectionapi.metmuseum.org/public/collection/v1/", _met),
    "cleveland": Museum("Cleveland Museum of Art", "https://openaccess-api.clevelandart.org/api/artworks/", _cleveland),
    "chicago": Museum("Art Institute of Chicago", "https://api.artic.edu/api/v1/", _chicago),
    "smithsonian": Museum(
        "Smithsonian Open Access", "https://api.si.edu/openaccess/api/v1.0/", _smithsonian, keyed=True
    ),
    "commons": Museum("Wikimedia Commons", "https://commons.wikimedia.org/w/api.php", _commons),
}


def _largest(media: Json) -> str:
    """The high-resolution JPEG of a Smithsonian image, else its standard one."""
    for resource in media.get("resources") or []:
        if resource.get("label") == "High-resolution JPEG":
            return str(resource["url"])
    return str(media["content"])


def _free_text(free: Json, name: str, label: str = "") -> str:
    """Entries of one kind in a Smithsonian record, those with a label if one is named."""
    entries = [one for one in free.get(name) or [] if label in str(one.get("label", "")).lower()]
    return "; ".join(_line(one["content"]) for one in entries)


def _urls(*found: object) -> tuple[str, ...]:
    return tuple(dict.fromkeys(str(url) for url in found if url))


def _line(value: object) -> str:
    """Text of a field without markup, on one line."""
    return plain(html.unescape(re.sub(r"<[^>]*>", " ", str(value)))) if value is not None else ""


def _year(value: object) -> int | None:
    """A year; 0 and what is no number stand for an undated object."""
    return int(value) or None if isinstance(value, int | str) and re.fullmatch(r"-?\d{1,4}", str(value)) else None
