"""The frame of the house's pages: one policy, scripts by their digest, everything else escaped."""

import base64
import hashlib
import html.parser
import re

import jinja2
import pytest
from markupsafe import Markup

from dialtell.evaluate.pages import templates
from dialtell.evaluate.pages.templates import digest, filled, own

FILES = {
    "frame.html": own("frame.html"),
    "inspection.css": "body { margin: 0 }",
    "one.html": '{% extends "frame.html" %}{% block title %}{{ name }}{% endblock %}{% block body %}<p>{{ name }}</p>'
    "{% endblock %}",
    "one.css": "p > a { color: red }",
    "one.js": 'if (1 < 2 && "a" > "b") { }',
    "two.html": '{% extends "frame.html" %}{% block title %}2{% endblock %}{% block body %}two{% endblock %}',
    "three.html": '{% extends "frame.html" %}{% block body %}no title{% endblock %}',
}  # fmt: skip


@pytest.fixture(autouse=True)
def files(monkeypatch):
    monkeypatch.setattr(templates, "own", FILES.__getitem__)
    monkeypatch.setattr(templates, "has", FILES.__contains__)
    templates._environment.cache_clear()
    yield
    templates._environment.cache_clear()


class Scripts(html.parser.HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.policy, self.scripts, self._in = "", [], False
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if attributes.get("http-equiv") == "Content-Security-Policy":
            self.policy = attributes["content"]
        self._in = tag == "script"

    def handle_data(self, data):
        if self._in:
            self.scripts.append(data)
            self._in = False


def test_the_policy_names_the_script_that_is_there():
    page = Scripts(filled("one", name="x"))
    (script,) = page.scripts
    # CSP level 3: the digest is that of the element's text, base64
    wanted = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{wanted}'" in page.policy and digest(script) == f"sha256-{wanted}"
    assert script == FILES["one.js"]


def test_a_page_without_a_script_allows_none():
    page = Scripts(filled("two"))
    assert page.scripts == [] and "script-src" not in page.policy
    assert page.policy.startswith("default-src 'none'")


def test_values_are_escaped_and_styles_are_not():
    text = filled("one", name="<b>&")
    assert "<title>&lt;b&gt;&amp;</title>" in text and "<p>&lt;b&gt;&amp;" in text
    assert f"<style>{FILES['inspection.css']}{FILES['one.css']}</style>" in text
    assert "<p><b>&" in filled("one", name=Markup("<b>&"))


def test_what_is_missing_is_an_error():
    with pytest.raises(jinja2.UndefinedError, match="name"):
        filled("one")
    with pytest.raises(jinja2.TemplateRuntimeError, match="title"):
        filled("three")


def test_every_page_of_the_house_that_stands_in_the_frame_loads_nothing(monkeypatch):
    monkeypatch.undo()
    for place in templates.importlib.resources.files(templates.__package__).iterdir():
        if place.name.endswith(".html") and place.name != "label.html":  # that one is served, not saved
            assert not re.search(r"""(src|href)=["'](https?:)?//""", place.read_text("utf-8")), place.name
