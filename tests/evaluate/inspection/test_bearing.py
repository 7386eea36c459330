"""The measurements beside the call: what they lean to is said, and no number of the call hangs on it."""

import itertools

import numpy as np
import pytest

from dialtell.evaluate.inspection.bearing import Agreement, agreement, bearing
from dialtell.evaluate.measurements.second_opinion import NO_OPINION, Opinion
from dialtell.model.net.calibration import HAND, UNDETERMINED
from dialtell.model.net.verdict import ProcessEvidence, Verdict
from dialtell.synth.shared.terms import Zone

RATIOS = np.linspace(-3.0, 3.0, 31).round(2).tolist()


def verdict(ratio, capped=False, withheld=False, **zones):
    parts = {Zone[name.upper()]: ProcessEvidence(9, value) for name, value in zones.items()}
    return Verdict(ProcessEvidence(40, ratio, capped, withheld), parts)


def opinion(ratio, capped=False, used=12):
    return Opinion(ratio, capped, tuple(f"numerals|{k}" for k in range(used)), ())


def test_no_number_of_the_call_hangs_on_the_measurements():
    for net, measured in itertools.product(RATIOS, RATIOS):
        judged = verdict(net)
        found = bearing(judged, opinion(measured))
        assert (found.stated, found.call) == (net, judged.call) and found.measured == measured
        assert found.against == (found.agreement is Agreement.DISAGREE)
        if found.against:
            assert net * measured < 0
        assert not {"log10_lr_of_both", "call", "net_call"} & set(found.record())


@pytest.mark.parametrize(
    ("net", "measured", "stands", "said"),
    [
        (1.5, 0.4, Agreement.AGREE, "point the same way"),
        (1.5, -0.7, Agreement.DISAGREE, "The measurements lean the other way: the 12 measurements"),
        (-1.2, 2.0, Agreement.DISAGREE, "point to hand painting (100 to 1). The call stands"),
        (0.6, -1.9, Agreement.DISAGREE, "lean the other way"),
        (0.2, 1.9, Agreement.CALL_SILENT, "point to hand painting (79 to 1), but alone they make no call"),
        (1.5, 0.1, Agreement.MEASUREMENTS_SILENT, "settle nothing by themselves"),
        (1.5, None, Agreement.NO_OPINION, "12 measurements could be set against drawn dials"),
    ],
)
def test_cases(net, measured, stands, said):
    found = bearing(verdict(net), opinion(measured))
    assert found.agreement is stands and said in found.sentence, found.sentence
    assert found.record()["agreement"] == stands.value and found.sentence[:1].isupper()


def test_where_no_call_is_made_nothing_is_held_against_it():
    mixed = verdict(2.0, numerals=2.0, signature=-2.0)
    held = verdict(2.0, withheld=True)
    for judged in (mixed, held):
        found = bearing(judged, opinion(-2.0))
        assert found.call == UNDETERMINED and found.agreement is Agreement.NOT_WEIGHED and not found.against
    assert bearing(held, opinion(-2.0)).measured is None and bearing(mixed, opinion(-2.0)).measured == -2.0
    assert (
        "none to hold the measurements against" in bearing(held, NO_OPINION).sentence
        and "contradict" in bearing(mixed, opinion(1.0)).sentence
    )
    silent = bearing(Verdict(ProcessEvidence(2), {}), opinion(1.0))
    assert (silent.stated, silent.agreement) == (None, Agreement.NOT_JUDGED)
    assert bearing(verdict(2.0), opinion(-2.0)).call == HAND


def test_sides_and_words_of_nothing_measured():
    assert agreement(-0.5, 0.5) is Agreement.DISAGREE and agreement(-0.5, -0.5) is Agreement.AGREE
    assert "no measurement could" in bearing(verdict(1.0), NO_OPINION).sentence
