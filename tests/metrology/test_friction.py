"""Turns round a bar, pulleys and levers change what the scale sees."""

import pytest

from deploy.benchmarks.agreement.friction import capstan_ratio, lever_force
from rigs.metrology.errors import NotFinite, NotPositive


def test_turns_round_a_bar_hold_as_the_capstan_equation_says(reference):
    table = reference("force-gravity-buoyancy-friction")["capstan"]["ratio"]  # handbooks
    for turns in (1, 3, 5):
        for friction, ratio in zip(table["mu"], table[f"turns_{turns}"], strict=True):
            assert capstan_ratio(friction, turns) == pytest.approx(ratio, abs=0.0051)


def test_a_fixed_bar_in_place_of_a_pulley_can_cost_a_third(reference):
    bar = reference("force-gravity-buoyancy-friction")["pulley"]["over_a_fixed_bar_180_degrees"]
    assert capstan_ratio(0.1, 0.5) == pytest.approx(bar["mu_0.1"], abs=5e-5)
    assert capstan_ratio(0.2, 0.5) == pytest.approx(bar["mu_0.2"], abs=5e-5)


# cos 60 degrees = 1/2: school trigonometry.
def test_a_tilted_lever_pulls_less():
    assert lever_force(10, 5) == 50
    assert lever_force(10, 5, 60) == pytest.approx(25)


def test_what_no_rig_can_have_is_refused():
    with pytest.raises(NotPositive, match=r"friction -0\.1"):
        capstan_ratio(-0.1, 1)
    with pytest.raises(NotFinite):
        capstan_ratio(0.1, float("inf"))
    with pytest.raises(NotPositive, match="arm ratio: found 0"):
        lever_force(10, 0)
