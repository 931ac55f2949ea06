"""The newton of a home rig comes from a mass, a place and the air."""

import pytest

from rigs.metrology.check_weight import (
    DENSITIES,
    check_weight_force,
    tolerance_uncertainty,
    water_density,
)
from rigs.metrology.errors import NotFinite, NotOnEarth, NotPositive, OutsideTheFormula
from rigs.metrology.gravity import local_gravity


def test_gravity_follows_latitude_and_height(reference):
    rows = reference("force-gravity-buoyancy-friction")["gravity"]["check"]  # WGS 84
    for row in rows:
        assert local_gravity(row["latitude"], row["height_m"]) == pytest.approx(
            row["somigliana_with_height"], abs=6e-7
        )
        assert local_gravity(-row["latitude"], row["height_m"]) == pytest.approx(
            row["somigliana_with_height"], abs=6e-7
        )


def test_gravity_at_the_pole_is_the_printed_one(reference):
    printed = reference("force-and-units")["expected"]["gravity_m_s2"]  # NIMA TR8350.2
    assert local_gravity(0) == printed["latitude_0"]
    assert local_gravity(45) == pytest.approx(printed["latitude_45"], abs=5e-8)
    assert local_gravity(90) == pytest.approx(printed["latitude_90"], abs=5e-8)


def test_a_place_that_is_not_on_earth_is_refused():
    with pytest.raises(NotOnEarth, match="latitude: found 91"):
        local_gravity(91)
    with pytest.raises(NotOnEarth, match="height: found 20000"):
        local_gravity(0, 20000)
    with pytest.raises(NotOnEarth):
        local_gravity(float("nan"))


def test_air_carries_a_part_of_each_weight(reference):
    factors = reference("force-gravity-buoyancy-friction")["buoyancy"]["factor"]  # OIML R 111
    for material, factor in factors.items():
        density = float(material.split("_")[-1])
        assert check_weight_force(1.0, gravity=1.0, density=density).newtons == pytest.approx(
            factor, abs=5e-7
        )


def test_the_constructed_check_weights_give_their_forces(reference):
    rows = reference("force-reading-classes")["constructed_example"]["rows"]
    for row in rows:
        force = check_weight_force(row["mass_kg"], gravity=9.81, density=8000)
        assert force.newtons == pytest.approx(row["force_N"], rel=1e-12)


def test_the_uncertainty_of_the_mass_and_of_an_unknown_place_are_carried():
    u_mass = tolerance_uncertainty(0.05)
    at_home = check_weight_force(10, u_mass, gravity=9.8145)
    assert at_home.u_newtons / at_home.newtons == pytest.approx(0.005 / 3**0.5, rel=1e-12)
    somewhere = check_weight_force(10, u_mass)
    assert somewhere.u_newtons > at_home.u_newtons
    for latitude in (0, 90):
        assert local_gravity(latitude) == pytest.approx(9.80665, rel=0.0027)


# 999.9749 at 4 C, 998.2067 at 20 C, 995.6488 at 30 C: Tanaka et al. 2001, table 1 (from memory).
def test_water_by_volume_has_the_density_of_its_temperature():
    assert water_density(4) == pytest.approx(999.9749, abs=2e-4)
    assert water_density(20) == pytest.approx(998.2067, abs=2e-4)
    assert water_density(30) == pytest.approx(995.6488, abs=2e-4)
    assert water_density(20) == pytest.approx(DENSITIES["water"], abs=0.05)
    with pytest.raises(OutsideTheFormula, match="found 80 C"):
        water_density(80)


def test_a_weight_that_weighs_nothing_is_refused():
    with pytest.raises(NotPositive, match="mass: found 0"):
        check_weight_force(0)
    with pytest.raises(NotFinite, match="mass: found nan"):
        check_weight_force(float("nan"))
    with pytest.raises(NotPositive, match="gravity: found 0"):
        check_weight_force(1, gravity=0)
