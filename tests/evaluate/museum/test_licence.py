import pytest

from dialtell.evaluate.museum.licence import admit, allowed_licences, canonical
from dialtell.synth.shared.errors import ParameterError

ZERO = "https://creativecommons.org/publicdomain/zero/1.0/"


@pytest.mark.parametrize(
    "stated",
    # as the museums' notes give them, and the names and addresses Creative Commons uses
    ["CC0", "cc0", "CC0 1.0", "CC-0", "CC0 (Met Open Access)", "CC0 1.0 Universal", " CC0\n", ZERO, ZERO[:-1],
     "http://creativecommons.org/publicdomain/zero/1.0/deed.en", "Public domain", "public domain mark 1.0", "PDM",
     "https://creativecommons.org/publicdomain/mark/1.0/", "PD-old-100", "pd"],
)  # fmt: skip
def test_public_domain_is_taken(stated):
    assert admit(stated)


@pytest.mark.parametrize(
    "stated",
    ["", "  ", "not CC0", "CC0 metadata; image restricted", "CC0 for text", "Not public domain", "public domain?",
     "Copyrighted", "Usage conditions apply", "CC BY 4.0", "CC BY-SA 4.0", "CC BY-NC-ND 4.0", "© museum", "CC00",
     "Copyright Undetermined", "GFDL", "https://evil.example/creativecommons.org/publicdomain/zero/1.0/",
     "https://creativecommons.org/licenses/by/4.0/", "https://rightsstatements.org/vocab/InC/1.0/", "CC BY-ZERO",
     "No known restrictions", "PD-because I say so"],
)  # fmt: skip
def test_all_else_is_refused_with_a_reason(stated):
    admission = admit(stated, "Somebody")
    assert not admission and admission.reason


@pytest.mark.parametrize(
    ("stated", "name"),
    [("cc-by-sa-4.0", "CC BY-SA 4.0"), ("https://creativecommons.org/licenses/by-nc-nd/3.0/de/", "CC BY-NC-ND 3.0"),
     ("CC BY 4.0 International", "CC BY 4.0"), ("CC BY", "CC BY"), ("Own  Terms", "Own Terms")],
)  # fmt: skip
def test_one_spelling_for_each(stated, name):
    assert canonical(stated) == name == canonical(name)


def test_named_licence_is_taken_with_its_attribution_and_no_other_version():
    allowed = allowed_licences(["cc by-sa 4.0"])
    assert admit("https://creativecommons.org/licenses/by-sa/4.0/", "A. Photographer", allowed=allowed)
    assert "asks for an attribution" in admit("CC BY-SA 4.0", " ", allowed=allowed).reason
    for other in ("CC BY-SA 3.0", "CC BY-NC-SA 4.0", "CC BY 4.0", "CC BY-SA", ""):
        assert not admit(other, "A. Photographer", allowed=allowed)
    with pytest.raises(ParameterError, match=r'allow-licence is empty; name the licence, such as "CC BY-SA 4\.0"'):
        allowed_licences([" "])
