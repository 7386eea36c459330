"""The shape of documents of schema dialtell.score/1, checked key by key."""

import math

from dialtell.synth.shared.terms import ZONES

CALLS = {"hand-painted", "printed", "undetermined"}


def number(value, low=-math.inf, high=math.inf):
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high


def check_document(document):
    assert list(document) == ["schema", "model", "reader", "dials", "errors"]
    assert document["schema"] == "dialtell.score/1"
    for net in (document["model"], document["reader"]):
        assert set(net) == {"name", "version", "sha256"} and len(net["sha256"]) == 64
    for dial in document["dials"]:
        check_dial(dial)
    for error in document["errors"]:
        assert set(error) == {"photo", "error"} and all(isinstance(text, str) and text for text in error.values())


def check_dial(dial):
    if "close_up" in dial:
        _check_close_up(dial["close_up"], dial["geometry"])
    assert set(dial) - {"close_up"} == {
        "photo", "call", "probability_hand", "log10_lr", "support", "withheld", "reason", "print_process", "known",
        "recognised", "geometry", "zones", "next_fields", "warnings"
    }  # fmt: skip
    _check_print(dial["print_process"], dial["call"])
    _check_numbers(dial, dial["withheld"])
    _check_known(dial["known"])
    _check_recognised(dial["recognised"], dial["geometry"], part="close_up" in dial)
    assert dial["support"] and dial["reason"].endswith(".") and dial["reason"].count("\n") == 0
    assert all(isinstance(warning, str) for warning in dial["warnings"])
    _check_next(dial["next_fields"], dial)
    judged = [zone for zone in dial["zones"] if zone["judged"]]
    assert (dial["log10_lr"] is None) == (not judged)
    if dial["geometry"] is None:
        assert dial["zones"] == [] and dial["call"] == "undetermined"
    else:
        _check_geometry(dial["geometry"])
        assert [zone["zone"] for zone in dial["zones"]] == [zone.value for zone in ZONES]
    for zone in dial["zones"]:
        assert set(zone) == {
            "zone", "judged", "call", "probability_hand", "log10_lr", "reason", "polygon_px"
        }  # fmt: skip
        assert isinstance(zone["judged"], bool) and zone["reason"].endswith(".")
        # where zones contradict each other each keeps its own number; what is not resolved has none
        _check_numbers(zone, dial["support"].startswith("withheld"))
        assert zone["judged"] == (zone["log10_lr"] is not None)
        assert all(len(point) == 2 and all(map(number, point)) for point in zone["polygon_px"])


def _check_next(fields, dial):
    """Nothing more is asked for of a dial that is settled, or where none was read."""
    assert len(fields) <= 5
    assert not fields or (dial["call"] == "undetermined" and dial["geometry"] is not None)
    for one in fields:
        assert list(one) == ["x", "y", "width", "pixels", "px_per_mm", "reason"] and one["reason"].endswith(".")
        assert number(one["x"], -1, 1) and number(one["y"], -1, 1) and number(one["width"], 0.1, 2.5)
        assert isinstance(one["pixels"], int) and one["pixels"] > 100
        assert one["px_per_mm"] is None or number(one["px_per_mm"], 0)


def _check_close_up(close_up, geometry):
    assert set(close_up) == {"located", "pixels_per_radius", "scale_spread", "scale_source"}
    assert isinstance(close_up["located"], bool) and number(close_up["scale_spread"], 0, 2) and close_up["scale_source"]
    assert geometry is not None and number(close_up["pixels_per_radius"], 0)


def _check_known(known):
    assert set(known) <= {"diameter_mm", "close_up", "pixels_per_mm", "zone", "outline", "twelve_deg", "places"}
    assert None not in known.values()


def _check_recognised(said, geometry, *, part):
    """Shares 0..1 of what the reading rests on; none where nothing was read, and none of the outline of a close-up,
    which was placed by a part of it or not at all."""
    assert (said is None) == (geometry is None)
    if said is not None:
        assert list(said) == ["outline", "twelve", "fired_enamel"] and (said["outline"] is None) == part
        assert all(said[name] is None or number(said[name], 0, 1) for name in said)


def _check_numbers(part, withheld):
    """No probability of a call that is withheld."""
    assert part["call"] in CALLS
    ratio, chance = part["log10_lr"], part["probability_hand"]
    if withheld:
        assert part["call"] == "undetermined" and chance is None
        return
    assert (ratio is None) == (chance is None)
    if ratio is None:
        assert part["call"] == "undetermined"
        return
    assert number(ratio) and number(chance, 0, 1)
    # posterior odds = LR at prior odds 1:1
    assert abs(chance - 10**ratio / (1 + 10**ratio)) < 1e-3
    if part["call"] != "undetermined":
        assert (ratio > 0) == (part["call"] == "hand-painted")


def _check_geometry(geometry):
    assert set(geometry) == {
        "center_px", "axes_px", "rotation_deg", "pixels_across", "pixels_per_mm", "ellipse_angle_deg"
    }  # fmt: skip
    a, b = geometry["axes_px"]
    assert len(geometry["center_px"]) == 2 and a >= b > 0
    assert number(geometry["rotation_deg"], -180, 180) and number(geometry["ellipse_angle_deg"])
    assert math.isclose(geometry["pixels_across"], 2 * math.sqrt(a * b), rel_tol=1e-3)
    assert geometry["pixels_per_mm"] is None or number(geometry["pixels_per_mm"], 0)


def _check_print(said, call):
    """Stated only of dials called printed."""
    if said is None:
        return
    assert call == "printed" and set(said) == {"call", "probability_photographic", "log10_lr", "reason"}
    assert said["call"] in {"transfer", "photographic", "cannot tell"} and said["reason"].endswith(".")
