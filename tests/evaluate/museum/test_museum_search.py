"""Searches against invented answers in the shape that the museums' notes and public client code give.

No live service was asked: these tests show that the code reads that shape, not that the museums still use it.
"""

import json
from dataclasses import replace
from urllib.parse import parse_qs, urlsplit

import pytest
from odd_server import StillClock, answer

from dialtell.evaluate.museum.search import MUSEUMS, search_museum
from dialtell.evaluate.museum.web import Web
from dialtell.evaluate.museum.web_address import DownloadError


@pytest.fixture
def search(server):
    still = StillClock()
    web = Web(allow=[server.place], clock=still.clock, sleep=still.sleep, retries=0)

    def run(name, words="watch", limit=100, **more):
        return search_museum(replace(MUSEUMS[name], base=server.url("/api/")), words, web, limit=limit, **more)

    return run


def said(document):
    return answer(json.dumps(document).encode(), kind="application/json")


def paged(rows, page):
    """A behaviour: page(query) -> the document for the query's page."""

    def behave(handler):
        query = {name: values[0] for name, values in parse_qs(urlsplit(handler.path).query).items()}
        said(page(query))(handler)

    return behave


def queries(server):
    return [parse_qs(urlsplit(path).query) for path in server.asked]


def met_object(number, **facts):
    return {
        "objectID": number, "accessionNumber": f"1.{number}", "isPublicDomain": True, "title": "Watch",
        "objectName": "Watch", "medium": "Dial: white enamel", "classification": "Horology", "objectDate": "ca. 1760",
        "objectBeginDate": 1755, "objectEndDate": 1765, "objectURL": f"https://museum.example/{number}",
        "primaryImage": f"https://images.example/{number}.jpg", "additionalImages": ["https://images.example/b.jpg"],
    } | facts  # fmt: skip


def test_met_keeps_free_photographs_of_what_was_meant(server, search):
    objects = [
        met_object(1),
        met_object(2, isPublicDomain=False),
        met_object(3, primaryImage="", additionalImages=[]),
        met_object(4, title="The Night", objectName="Painting", medium="Oil", classification="Paintings"),
        met_object(6, isPublicDomain="false"),
    ]
    server.routes = {f"/api/objects/{one['objectID']}": said(one) for one in objects}
    server.routes["/api/search"] = said({"total": 6, "objectIDs": [1, 2, 3, 4, 5, 6]})  # 5 is withdrawn: 404
    (found,) = search("met")
    assert queries(server)[0] == {"hasImages": ["true"], "q": ["watch"]}
    assert found.image_urls == ("https://images.example/1.jpg", "https://images.example/b.jpg")
    assert (found.licence, found.accession_number, found.object_id) == ("CC0 1.0", "1.1", "1")
    assert (found.year_begin, found.year_end, found.source) == (1755, 1765, "https://museum.example/1")


def test_met_asks_for_no_more_objects_than_wanted(server, search):
    server.routes = {f"/api/objects/{number}": said(met_object(number)) for number in range(9)}
    server.routes["/api/search"] = said({"objectIDs": list(range(9))})
    assert len(search("met", limit=2)) == 2 and len(server.asked) == 3


def test_met_gives_up_on_a_search_of_strangers(server, search):
    stranger = met_object(1, title="", objectName="Painting", medium="", classification="")
    server.routes = {f"/api/objects/{number}": said(stranger) for number in range(99)}
    server.routes["/api/search"] = said({"objectIDs": list(range(99))})
    assert search("met", limit=1) == [] and len(server.asked) == 11


def test_nothing_found_is_no_error(server, search):
    server.routes["/api/search"] = said({"total": 0, "objectIDs": None})
    assert search("met") == []


def cleveland_object(number, **facts):
    return {
        "id": number, "accession_number": f"19.{number}", "share_license_status": "CC0", "title": "Watch",
        "type": "Jewelry", "technique": "gold", "creation_date": "c. 1780", "creation_date_earliest": 1775,
        "creation_date_latest": 1785, "url": f"https://museum.example/art/19.{number}",
        "images": {"web": {"url": "https://cdn.example/w.jpg"}, "print": {"url": f"https://cdn.example/{number}.jpg"},
                   "full": {"url": "https://cdn.example/f.tif"}},
    } | facts  # fmt: skip


def test_cleveland_pages_to_the_end_and_checks_each_status(server, search):
    rows = [cleveland_object(n) for n in range(120)]
    rows[3] |= {"share_license_status": "Copyrighted"}
    rows[4] |= {"images": None}
    server.routes["/api/"] = paged(
        rows, lambda query: {"data": rows[int(query["skip"]) :][: int(query["limit"])], "info": {"total": 120}}
    )
    found = search("cleveland", limit=1000)
    assert [one.object_id for one in found] == [str(n) for n in range(120) if n not in (3, 4)]
    assert found[0].image_urls == ("https://cdn.example/0.jpg",)  # the largest JPEG, not the TIFF
    assert [query["skip"] for query in queries(server)] == [["0"], ["50"], ["100"]]
    assert all(query["cc0"] == query["has_image"] == ["1"] for query in queries(server))


def test_chicago_pages_and_names_iiif_images(server, search):
    rows = [
        {"id": n, "title": "Watch", "is_public_domain": n != 1, "image_id": f"i{n}", "alt_image_ids": ["alt"],
         "date_start": 1890, "date_end": 1890, "date_display": "1890", "medium_display": "Gold"}
        for n in range(3)
    ]  # fmt: skip
    server.routes["/api/artworks/search"] = paged(
        rows, lambda query: {"data": [rows[int(query["page"]) - 1]], "pagination": {"total_pages": 3}}
    )
    first, last = search("chicago")
    assert (first.object_id, last.object_id) == ("0", "2") and len(server.asked) == 3
    assert first.image_urls == tuple(
        f"https://www.artic.edu/iiif/2/{name}/full/1686,/0/default.jpg" for name in ("i0", "alt")
    )
    assert queries(server)[0]["query[term][is_public_domain]"] == ["true"]


def smithsonian_row(number, *access):
    media = [
        {"type": "Images", "usage": {"access": one}, "content": f"https://ids.example/deliver?id={number}-{n}",
         "resources": [{"label": "Screen Image", "url": "https://ids.example/small.jpg"},
                       {"label": "High-resolution JPEG", "url": f"https://ids.example/{number}-{n}.jpg"}]}
        for n, one in enumerate(access)
    ]  # fmt: skip
    facts = {
        "data_source": "A National Museum", "record_link": "https://museum.example/x",
        "metadata_usage": {"access": "CC0"}, "online_media": {"media": media},
    }  # fmt: skip
    free = {
        "date": [{"label": "Date", "content": "1890s"}], "objectType": [{"label": "t", "content": "Watches"}],
        "identifier": [{"label": "ID Number", "content": "x"}, {"label": "Accession Number", "content": "7"}],
    }  # fmt: skip
    return {
        "id": f"edanmdm-{number}",
        "title": "Watch",
        "content": {"descriptiveNonRepeating": facts, "freetext": free},
    }


def test_smithsonian_counts_the_licence_of_each_image_not_of_the_text(server, search):
    closed = "Usage conditions apply"
    rows = [smithsonian_row(0, closed, "CC0"), smithsonian_row(1, closed), smithsonian_row(2, "CC0")] + [
        smithsonian_row(n, closed) for n in range(3, 60)
    ]
    server.routes["/api/search"] = paged(
        rows,
        lambda query: {"response": {"rowCount": 60, "rows": rows[int(query["start"]) :][: int(query["rows"])]}},
    )
    first, second = search("smithsonian", "pocket watch", key="hush")
    assert first.image_urls == ("https://ids.example/0-1.jpg",) and second.image_urls == (
        "https://ids.example/2-0.jpg",
    )
    assert (first.museum, first.accession_number, first.date_text) == ("A National Museum", "7", "1890s")
    asked = queries(server)
    assert [query["start"] for query in asked] == [["0"], ["50"]]
    assert asked[0]["q"] == ["(pocket watch) AND media_usage:CC0"] and asked[0]["api_key"] == ["hush"]


def test_commons_follows_its_continuation_and_reads_each_licence(server, search):
    def page(number, licence, artist="<a href='//x'>A.&nbsp;Person</a>"):
        meta = {"LicenseShortName": {"value": licence}, "Artist": {"value": artist}}
        info = {"url": f"https://upload.example/{number}.jpg", "descriptionurl": "https://commons.example/f"}
        return {
            "pageid": number,
            "index": number,
            "title": f"File:{number}.jpg",
            "imageinfo": [info | {"extmetadata": meta}],
        }

    parts = {
        "": {
            "query": {"pages": [page(2, "CC BY-SA 4.0"), page(1, "CC0")]},
            "continue": {"gsroffset": 50, "continue": "-"},
        },
        "50": {
            "query": {
                "pages": [page(3, "Public domain"), page(4, "GFDL"), {"pageid": 5, "index": 5, "title": "File:x"}]
            }
        },
    }
    server.routes["/api/"] = paged(parts, lambda query: parts[query.get("gsroffset", "")])
    assert [one.object_id for one in search("commons")] == ["1", "3"]
    found = search("commons", allowed={"CC BY-SA 4.0"})
    assert [one.object_id for one in found] == ["1", "2", "3"]  # the search's order
    assert found[1].attribution == "A. Person" and found[1].licence == "CC BY-SA 4.0"
    assert queries(server)[0]["gsrsearch"] == ["watch filetype:bitmap"]


def test_missing_optional_fields_are_left_empty(server, search):
    """What names and shows the object is enough; facts that a record lacks are no reason to lose it."""
    bare = {"objectID": 7, "isPublicDomain": True, "primaryImage": "https://images.example/7.jpg", "title": None}
    server.routes = {"/api/objects/7": said(bare), "/api/search": said({"objectIDs": [7]})}
    (found,) = search("met", words="")
    assert (found.name, found.title, found.medium, found.year_begin, found.source) == ("7", "", "", None, "")
    assert found.image_urls == ("https://images.example/7.jpg",)
    bare = {"id": 8, "share_license_status": "CC0", "images": {"web": {"url": "https://cdn.example/8.jpg"}}}
    server.routes["/api/"] = said({"data": [bare]})
    (found,) = search("cleveland")
    assert (found.name, found.image_urls) == ("8", ("https://cdn.example/8.jpg",))


@pytest.mark.parametrize("lacking", ["share_license_status", "images", "id"])
def test_result_that_lacks_what_must_be_known_is_left_out_and_said(lacking, server, search, caplog):
    """Nothing is guessed about that one; the others are kept. A licence that is not stated is none."""
    rows = [cleveland_object(n) for n in range(4)]
    del rows[1][lacking]
    rows[2] = None
    server.routes["/api/"] = said({"data": rows})
    assert [one.object_id for one in search("cleveland")] == ["0", "3"]
    assert (
        f"Cleveland Museum of Art: 2 of 4 results left out, in an unknown shape (KeyError: '{lacking}')" in caplog.text
    )
    server.routes["/api/"] = said({"data": rows[1:3]})  # all of them: then it is the service
    with pytest.raises(DownloadError, match="answers in an unknown shape"):
        search("cleveland")


@pytest.mark.parametrize("name", MUSEUMS)
@pytest.mark.parametrize("body", [b"{}", b"[]", b"null", b'{"data": 3, "objectIDs": 3, "response": 3, "query": 3}'])
def test_unknown_shape_is_an_error_that_names_the_museum(name, body, server, search):
    server.routes = {path: answer(body) for path in ("/api/", "/api/search", "/api/artworks/search")}
    with pytest.raises(DownloadError, match=f"{MUSEUMS[name].title} answers in an unknown shape"):
        search(name)


@pytest.mark.parametrize(
    ("name", "empty"),
    [
        ("cleveland", {"data": []}),
        ("chicago", {"data": [], "pagination": {"total_pages": 10**9}}),
        ("smithsonian", {"response": {"rows": [], "rowCount": 10**9}}),
        ("commons", {"batchcomplete": True}),
        ("commons", {"query": {"pages": []}, "continue": {"gsroffset": 50}}),
    ],
)
def test_empty_page_ends_a_search(name, empty, server, search):
    server.routes = {path: said(empty) for path in ("/api/", "/api/search", "/api/artworks/search")}
    assert search(name) == [] and len(server.asked) == 1


def test_withdrawn_objects_do_not_make_a_search_endless(server, search):
    server.routes["/api/search"] = said({"objectIDs": list(range(99))})
    assert search("met", limit=1) == [] and len(server.asked) == 11


@pytest.mark.parametrize("body", [b"<html>", b"", b"\xff", b"[" * 100_000])
def test_answer_that_is_not_json_is_an_error(body, server, search):
    server.routes["/api/search"] = answer(body)
    with pytest.raises(DownloadError, match="is not JSON"):
        search("met")


def test_silent_museum_is_an_error(server, search):
    with pytest.raises(DownloadError, match="the server answers 404"):
        search("met")
