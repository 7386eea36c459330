import pytest

from dialtell.evaluate.score.shown_names import shown_names
from dialtell.evaluate.score.table import call_table
from dialtell.evaluate.words.plain import plain_name
from dialtell.evaluate.words.stated import WITHHELD
from dialtell.synth.shared.errors import ParameterError


def sample(name="watch.jpg"):
    judged = {"judged": True, "call": "printed", "probability_hand": 0.2, "log10_lr": -0.6, "polygon_px": []}
    silent = {
        "judged": False,
        "call": "undetermined",
        "probability_hand": None,
        "log10_lr": None,
        "polygon_px": [],
    }
    return {
        "photo": name,
        "call": "hand-painted",
        "probability_hand": 0.954,
        "log10_lr": 1.32,
        "support": "at least moderate support for hand painting",
        "reason": "Thin strokes are fainter than thick ones.",
        "geometry": None,
        "zones": [
            {"zone": "seconds bit", "reason": "One density everywhere.", **judged},
            {"zone": "signature", "reason": "Letters are 4 px high; 9 px are needed.", **silent},
        ],
        "warnings": ["sharpened"],
    }


def test_table_as_a_reader_sees_it():
    error = ("b.jpg", "b.jpg: not a photograph; give a JPEG or PNG")
    assert call_table([sample()], [error], width=98) == "\n".join(
        [
            "photo               call          log10 LR  p(hand)  support",
            "-" * 97,
            "watch.jpg           hand-painted     +1.32     0.95  at least moderate support for hand painting",
            "    Thin strokes are fainter than thick ones.",
            "    signature       not judged                       Letters are 4 px high; 9 px are needed.",
            "    seconds bit     printed          -0.60     0.20  One density everywhere.",
            "    warning: sharpened",
            "",
            "not scored:",
            "    b.jpg: not a photograph; give a JPEG or PNG",
            "",
            "p(hand) is at prior odds 1:1. log10 LR above 0 speaks for hand painting, below 0 for printing.",
            "An opinion from a photograph is not an authentication and not an appraisal. Have it confirmed on",
            "the dial itself, under magnification, by a qualified watchmaker, conservator or appraiser before",
            "you buy, sell, insure or describe a watch. Do not scrape, touch up or clean a dial with solvent in",
            "order to test it. Old enamel can contain lead and arsenic, and luminous paint on later dials can",
            "contain radium: keep the crystal closed and follow local rules.",
        ]
    )


@pytest.mark.parametrize("width", [60, 72, 80, 100, 200])
@pytest.mark.parametrize("name", ["a.jpg", "folder/" * 30 + "end.jpg", "x" * 19])
def test_no_line_is_wider_than_the_terminal_and_names_keep_their_end(width, name):
    lines = call_table([sample(name)], [("b", "word " * 60)], width=width).split("\n")
    assert max(map(len, lines)) <= width
    row = next(line for line in lines if "+1.32" in line)
    assert row.split("  ")[0].strip().endswith(name[-6:])


LONG = ["photos/mine/" + name for name in ("a-long-name-of-a-watch-seen-first-in-a-shop.jpg", "short.jpg")]


def named(names, **flags):
    """The lines of the table before each dial's reason, told by their figures."""
    lines = call_table([sample(name) for name in names], **flags).split("\n")
    return lines, [line.split("  ")[0] for line in lines if "+1.32" in line]


@pytest.mark.parametrize("width", [60, 100, 140])
def test_piped_names_are_never_cut(width):
    names = [*LONG, "folder/" * 30 + "end.jpg", "folder/" * 30 + "other end.jpg"]
    lines, shown = named(names, width=width, cut=False)
    assert shown == names
    places = {line.index("+1.32") for line in lines if "+1.32" in line}
    assert len(places) == 1 and lines[0].index("log10 LR") + 3 in places
    error = ("folder/" * 30 + "none.jpg", "folder/" * 30 + "none.jpg does not exist; check the path")
    assert f"    {error[1]}" in call_table([], [error], width=width, cut=False).split("\n")


@pytest.mark.parametrize("width", [60, 80, 100, 140])
def test_names_on_a_terminal_drop_what_they_share_and_stay_different(width):
    names = [f"{folder}/evaluate/examples/{name}.jpg" for folder in ("/home/me/watches",)
             for name in ("painted", "printed-photographic", "printed-transfer", "too-small")]  # fmt: skip
    lines, shown = named(names, width=width)
    if "photographs in" in lines[0]:
        assert lines[0] == "photographs in /home/me/watches/evaluate/examples/"
        assert shown[0] == "painted.jpg"
    assert len(set(shown)) == len(shown) and max(map(len, lines)) <= width
    # names that would be cut to the same form stand whole on lines of their own
    twins = [f"x/{'first' * 8}-{n}-{'last' * 8}.jpg" for n in range(2)]
    lines, shown = named([*twins, "x/a.jpg"], width=width)
    whole = "".join(lines)
    assert all(name.removeprefix("x/") in whole for name in twins) and shown == ["", "", "a.jpg"]
    assert max(map(len, lines)) <= width


def test_what_is_shared_is_a_folder_of_all():
    assert shown_names(["a/b/c.jpg", "d.jpg", "a/" + "x" * 40], 20).folder == ""
    assert shown_names(["/" + "x" * 40, "/b.jpg"], 20).folder == ""
    assert shown_names(["/a/" + "x" * 40, "b.jpg"], 20).folder == ""
    assert shown_names(["a//" + "x" * 40, "a/b.jpg"], 20).folder in ("", "a/")
    assert shown_names(["a/" + "x" * 40] * 2, 20).names == ("xxxxxxxxx...xxxxxxxx",) * 2


def test_where_nothing_was_scored_only_the_errors_are_said():
    error = ("b.jpg", "b.jpg does not exist; check the path")
    assert call_table([], [error]) == "not scored:\n    b.jpg does not exist; check the path"


def test_wide_characters_keep_the_columns_aligned():
    lines = call_table([sample("時計の文字盤.jpg")], width=100).split("\n")
    row = next(line for line in lines if "+1.32" in line)
    # Six wide characters fill two columns each.
    assert row.index("+1.32") + 6 == lines[0].index("log10 LR") + 3


def test_names_cannot_steer_the_terminal_and_fit_the_stream():
    assert plain_name("\x1b[2Jred\u202egpj.\n\udce9") == "?[2Jred?gpj.?\\udce9"
    text = call_table([sample("Zifferblatt-ä時.jpg")], width=100, encoding="ascii")
    assert text.isascii() and "\\xe4\\u6642" in text


def test_too_narrow_is_refused():
    with pytest.raises(ParameterError, match="width is 40"):
        call_table([], width=40)


def test_beside_a_withheld_call_no_photograph_states_a_number():
    rows = [{"role": "whole view", "photo": "a.jpg", "reason": "", "squares": 40, "log10_lr_alone": 0.95}]
    assert "whole view: a.jpg, 40 small squares, alone +0.95" in call_table([sample() | {"photographs": rows}])
    held = sample() | {"photographs": rows, "withheld": True, "support": WITHHELD}
    assert "0.95" not in call_table([held]).split("whole view")[1]


def test_a_print_shows_its_process_below_the_reason():
    dial = sample() | {
        "print_process": {"call": "transfer", "reason": "About 40 times more probable.", "log10_lr": -1.6}
    }
    lines = call_table([dial], width=100).split("\n")
    assert lines[4] == "    process of print: transfer. About 40 times more probable."
    assert "process of print" not in call_table([sample() | {"print_process": None}])
