"""The pad: against hand statics, and against the setup's own reading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from setupopt.evaluation.pack import vehicle
from setupopt.physics.inputs import Record
from setupopt.project import Project
from setupopt.sheet.build import as_written, changed, with_changes
from setupopt.sheet.pad_state import Pad
from setupopt.units import GRAVITY

from .conftest import EXAMPLES, few


@pytest.fixture(scope="module")
def pad(bore: Project) -> Pad:
    """The car on its pad, as it stands today."""
    return Pad(bore, bore.setup)


@pytest.fixture(scope="module")
def today(bore: Project) -> Record:
    """Its stance, bars off: what they do is asked for apart."""
    return changed(as_written(bore.setup), anti_roll=np.zeros(2))


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_setup_reads_as_it_is_written(name: str) -> None:
    """Ride heights, camber and even corner loads of the file, to a nanometre and a millinewton."""
    project = few(name, EXAMPLES[name])
    setup, reading = (
        project.setup,
        Pad(project, project.setup).reading(as_written(project.setup)),
    )
    assert reading.ride_height == pytest.approx(
        [setup.front.ride_height, setup.rear.ride_height], abs=1e-9
    )
    assert reading.camber == pytest.approx(
        np.repeat([setup.front.camber, setup.rear.camber], 2), abs=1e-9
    )
    assert reading.load == pytest.approx(
        vehicle(project.car)[0]["static_load"][0], abs=1e-3
    )
    assert reading.cross_share == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize("field", ["perch", "camber", "pressure", "spring"])
def test_the_scales_show_the_weight_and_its_moments(
    bore: Project, pad: Pad, today: Record, field: str
) -> None:
    """Moments by hand: whatever is turned on one corner, the loads sum to m g, the front carries its share,
    left and right balance. 0.2 %: the CG leans and the tyres roll on their crowns; 2 % with a leaning wheel,
    which stands off the middle of its tread by centimetres."""
    by = {"perch": 0.004, "camber": -0.05, "pressure": 3e4, "spring": -3e4}[
        field
    ]
    values = getattr(today, field).copy()
    values[0] += by
    load = pad.reading(changed(today, **{field: values})).load
    assert load.sum() == pytest.approx(bore.car.mass * GRAVITY, rel=1e-9)
    assert load[:2].sum() / load.sum() == pytest.approx(
        bore.car.front_share, abs=1e-3
    )
    moment = (load[0] - load[1]) * bore.car.front.track + (
        load[2] - load[3]
    ) * bore.car.rear.track
    assert abs(moment) / (load.sum() * bore.car.front.track) < (
        2e-2 if field == "camber" else 2e-3
    )


def stiff(project: Project) -> Project:
    """Without camber gain, so that nothing but springs and tyres counts."""
    front, rear = (
        replace(axle, camber_gain=0.0)
        for axle in (project.car.front, project.car.rear)
    )
    return replace(project, car=replace(project.car, front=front, rear=rear))


def test_one_raised_perch_wedges_the_car(bore: Project) -> None:
    """A rigid body on four springs in series with tyres, k_i at the corners; one seat raised by p.

    The body keeps level on three freedoms, so that loads can only change in the pattern d / (t_front), with
    signs + - - + and equal moments on both axles: dN_f t_f = dN_r t_r = w. Compatibility of the four heights,
    h_fl / t_f - h_fr / t_f - h_rl / t_r + h_rr / t_r = 0 with h = p (raised) - dN / k, gives
    w = (p / t_f) / sum(1 / (k t^2)). A body that rolls by phi tilts upright
    wheels: each load moves by R_crown phi on its tread, which parts the axles by the sum of N R_crown phi,
    6 % of w here. Their mean is w, to 1 %.
    """
    project = stiff(bore)
    upright = [
        replace(axle, camber=0.0)
        for axle in (project.setup.front, project.setup.rear)
    ]
    project = replace(
        project, setup=replace(project.setup, front=upright[0], rear=upright[1])
    )
    pad, stance = (
        Pad(project, project.setup),
        changed(as_written(project.setup), anti_roll=np.zeros(2)),
    )
    p, track = (
        2e-4,
        np.repeat([project.car.front.track, project.car.rear.track], 2),
    )
    springs = np.repeat(
        [axle.motion_ratio**2 * stood.spring for axle, stood in
         ((project.car.front, project.setup.front), (project.car.rear, project.setup.rear))], 2,
    )  # fmt: skip
    load = pad.reading(stance).load
    tyres = _tyre_rates(project)
    series = 1.0 / (1.0 / springs + 1.0 / tyres)
    w = (p / track[0]) / (1.0 / (series * track**2)).sum()
    raised = stance.perch.copy()
    raised[0] += p
    wedged = pad.reading(changed(stance, perch=raised))
    change = wedged.load - load
    assert wedged.cross_share == pytest.approx(
        (wedged.load[1] + wedged.load[2]) / wedged.load.sum()
    )
    assert (
        wedged.cross_share < 0.5 - 1e-3
    )  # front left and rear right carry more
    expected = w / track * np.array([1.0, -1.0, -1.0, 1.0])
    assert change == pytest.approx(expected, rel=0.06)
    assert np.abs(change * track).mean() == pytest.approx(w, rel=0.01)


def _tyre_rates(project: Project) -> np.ndarray:
    """Slope of each tyre's load, N/m, at its corner load, of tread and carcass in series.

    Measured on the tyre kernel itself, which has its own tests.
    """
    from math import tan

    from setupopt.evaluation.model import Model
    from setupopt.physics import tyre

    body = Model(project.car).packed[0][0]
    setting = Model(project.car).settings(project.setup)[0]
    rates = []
    for w in range(4):
        carcass = setting["carcass"][w]
        tread = setting["penetration"][w] - body["static_load"][w] / carcass
        loads = [
            tyre.contact(
                tread + d, tan(setting["camber"][w]), 1.0 / body["radius"][w],
                body["crown"][w], body["half_width"][w], setting["foundation"][w], np.zeros(5),
            )[0]
            for d in (-1e-6, 1e-6)
        ]  # fmt: skip
        rates.append(1.0 / (2e-6 / (loads[1] - loads[0]) + 1.0 / carcass))
    return np.array(rates)


@pytest.mark.parametrize("raised", [0.005, 0.06])
def test_all_perches_raised_lift_the_car_by_as_much(
    bore: Project, raised: float
) -> None:
    """Loads stay, so springs and tyres keep their lengths; also where a stop would stand: out of reach."""
    project = stiff(bore)
    pad, stance = Pad(project, project.setup), as_written(project.setup)
    before, after = (
        pad.reading(stance),
        pad.reading(changed(stance, perch=np.full(4, raised))),
    )
    assert after.ride_height - before.ride_height == pytest.approx(
        [raised, raised], abs=1e-6
    )
    assert after.load == pytest.approx(before.load, abs=0.1)


def test_the_floor_stands_high_where_a_corner_is_wound_up(
    pad: Pad, today: Record
) -> None:
    """Front left wound up: the left side of the rigid floor rises over the right one, front and rear."""
    reading = pad.reading(
        changed(today, perch=np.array([0.003, 0.0, 0.0, 0.0]))
    )
    assert reading.side_height[0] > reading.side_height[1]
    assert reading.side_height[2] > reading.side_height[3]


def test_a_softer_spring_sinks_by_hand(bore: Project) -> None:
    """Both axles softer by a tenth, old seat: each sinks by S0 (1 / k_new - 1 / k_old) at the wheel.

    S0: the corner load without the wheel. The stations lie on a straight line with the axles. 1 %: the CG
    goes with the body.
    """
    project = stiff(bore)
    pad, stance = Pad(project, project.setup), as_written(project.setup)
    body = vehicle(project.car)[0][0]
    rest = body["static_load"] - body["unsprung_mass"] * GRAVITY
    ratio = np.repeat(
        [project.car.front.motion_ratio, project.car.rear.motion_ratio], 2
    )
    sink = rest * (1.0 / 0.9 - 1.0) / (stance.spring * ratio**2)
    after = pad.reading(changed(stance, spring=0.9 * stance.spring))
    front, rear = sink[0], sink[2]
    stations = np.array(
        [project.car.air.front_ride_station, project.car.air.rear_ride_station]
    )
    expected = front + (rear - front) * stations / project.car.wheelbase
    before = np.array(
        [project.setup.front.ride_height, project.setup.rear.ride_height]
    )
    assert before - after.ride_height == pytest.approx(expected, rel=0.03)


def test_a_bar_does_nothing_to_an_even_car(pad: Pad, bore: Project) -> None:
    """Left and right travel alike."""
    stance = with_changes(as_written(bore.setup), "spring", [0, 1], -2e4)
    off = pad.reading(changed(stance, anti_roll=np.zeros(2)))
    assert pad.reading(stance).ride_height == pytest.approx(
        off.ride_height, abs=1e-9
    )


def test_more_pressure_stands_higher(pad: Pad, today: Record) -> None:
    """A stiffer tyre presses in less."""
    assert (
        pad.reading(with_changes(today, "pressure", [0, 1], 3e4)).ride_height[0]
        > pad.reading(today).ride_height[0]
    )


def test_left_and_right_are_mirror_images(pad: Pad, today: Record) -> None:
    """A perch on the left reads on the left what one on the right reads on the right."""
    left, right = (
        np.array([0.003, 0.0, 0.0, 0.0]),
        np.array([0.0, 0.003, 0.0, 0.0]),
    )
    one, other = (
        pad.reading(changed(today, perch=left)),
        pad.reading(changed(today, perch=right)),
    )
    assert one.load == pytest.approx(other.load[[1, 0, 3, 2]], rel=1e-9)
    assert one.side_height == pytest.approx(
        other.side_height[[1, 0, 3, 2]], abs=1e-9
    )
    assert one.cross_share == pytest.approx(1.0 - other.cross_share, abs=1e-9)
