"""Net and measurements together: support may fall, never rise; what the reader is told follows from the numbers."""

import itertools
import math

import numpy as np
import pytest

from dialtell.evaluate.inspection.combined import Agreement, agreement, combine, together
from dialtell.evaluate.inspection.stated import combined_support
from dialtell.evaluate.measurements.second_opinion import NO_OPINION, Opinion
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED, threshold
from dialtell.model.net.verdict import ProcessEvidence, Verdict
from dialtell.synth.shared.terms import Zone

RATIOS = np.linspace(-3.0, 3.0, 61).round(2).tolist()


def verdict(ratio, capped=False, withheld=False, **zones):
    parts = {Zone[name.upper()]: ProcessEvidence(9, value) for name, value in zones.items()}
    return Verdict(ProcessEvidence(40, ratio, capped, withheld), parts)


def opinion(ratio, capped=False, used=12):
    return Opinion(ratio, capped, tuple(f"numerals|{k}" for k in range(used)), ())


def test_support_never_grows_nor_changes_sides():
    for net, measured in itertools.product(RATIOS, RATIOS):
        both = together(net, measured)
        assert abs(both) <= abs(net) and both * net >= 0
        if net * measured >= 0:
            assert both == net
        assert not (both == 0 and math.copysign(1, both) < 0)
    assert together(None, 1.0) is None and together(1.5, None) == 1.5


def test_rule_has_no_jump_and_rises_with_both():
    table = np.array([[together(net, measured) for measured in RATIOS] for net in RATIOS])
    step = RATIOS[1] - RATIOS[0]
    for axis in (0, 1):
        change = np.diff(table, axis=axis)
        assert change.min() >= -1e-9 and change.max() <= step + 1e-9


@pytest.mark.parametrize(
    ("net", "measured", "both", "call", "stands"),
    [
        (1.5, 0.4, 1.5, HAND, Agreement.AGREE),
        (1.5, -0.4, 1.1, HAND, Agreement.DISAGREE),
        (1.5, -0.7, 0.8, UNDETERMINED, Agreement.DISAGREE),
        (-1.5, 0.5, -1.0, PRINTED, Agreement.DISAGREE),
        (-1.2, 2.0, 0.0, UNDETERMINED, Agreement.DISAGREE),
        (0.2, 1.9, 0.2, UNDETERMINED, Agreement.NET_SILENT),
        (1.5, 0.1, 1.5, HAND, Agreement.MEASUREMENTS_SILENT),
        (1.0, -0.2, 0.8, UNDETERMINED, Agreement.MEASUREMENTS_SILENT),
        (1.5, None, 1.5, HAND, Agreement.NO_OPINION),
    ],
)
def test_cases(net, measured, both, call, stands):
    found = combine(verdict(net), opinion(measured))
    assert found.log10_lr == pytest.approx(both) and found.call == call and found.agreement is stands
    assert found.withdrawn == (found.net_call != call)
    assert ("withdrawn" in found.sentence) == found.withdrawn
    assert found.record()["agreement"] == stands.value


def test_call_is_withdrawn_exactly_below_the_threshold():
    need = threshold()
    above, below = (combine(verdict(2.0), opinion(need - 2.0 + off)) for off in (0.01, -0.01))
    assert above.call == HAND and below.call == UNDETERMINED
    assert f"short of the {need:.2f}" in below.sentence and f"still passes the {need:.2f}" in above.sentence


def test_no_call_that_the_net_did_not_make():
    mixed = verdict(2.0, numerals=2.0, signature=-2.0)
    withheld = verdict(2.0, withheld=True)
    for judged in (mixed, withheld, verdict(0.5)):
        assert combine(judged, opinion(2.0)).call == UNDETERMINED
    for judged in (mixed, withheld):
        found = combine(judged, opinion(-2.0))
        assert found.agreement is Agreement.NOT_WEIGHED and found.log10_lr == 2.0 and found.held
        assert combined_support(found, "zones disagree") == "zones disagree"
    assert combine(withheld, opinion(-2.0)).measured is None
    assert "no second opinion" in combine(withheld, NO_OPINION).sentence
    silent = combine(Verdict(ProcessEvidence(2), {}), opinion(1.0))
    assert (silent.log10_lr, silent.agreement) == (None, Agreement.NOT_JUDGED)


def test_numbers_in_words():
    found = combine(verdict(2.0, capped=True), opinion(-0.6))
    assert not found.capped  # what lies beyond the cap is not known, so nothing is "at least" any more
    for number in ("+2.00", "−0.60", "+1.40", "12 measurements"):
        assert number in found.sentence
    assert combined_support(found, "at least moderate support for hand painting") == (
        "moderate support for hand painting"
    )
    assert combine(verdict(2.0, capped=True), opinion(0.6)).capped
    assert agreement(-0.5, 0.5) is Agreement.DISAGREE
    assert "no measurement could" in combine(verdict(1.0), NO_OPINION).sentence
