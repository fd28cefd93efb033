"""What is stood by linear equations of motion: laws that hold for any linear car, and other solvers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.signal import cont2discrete

from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model
from setupopt.evaluation.setup_record import by_wheel
from setupopt.physics.inputs import Records
from setupopt.project import Project
from setupopt.project.limits_model import Require
from setupopt.robust import linear_march
from setupopt.robust.linear_stood import KINDS, Answer, LinearStood

ASKED = Require(bump=0.01, seam=0.005, gust=5.0, road=True)


def linear(
    project: Project, asked: Require = ASKED, angle: float = 120.0
) -> tuple[LinearStood, Answer]:
    """The linear car of a project's setup, straight at one roll angle."""
    model = Model(project.car)
    case = sweep_cases(project.venue, np.radians([angle])).pick([0])
    setting = model.settings(project.setup)
    base: Records = model.run(setting, case).answers[0]
    stood = LinearStood(project, asked)
    packed = model.packed_for(setting[0])
    return stood, stood.linear(
        packed, setting[0], by_wheel(project.setup)[0], case.records[0], base[0]
    )


@pytest.fixture(scope="module")
def car(bore: Project) -> Answer:
    """The bore's car at 120 deg."""
    return linear(bore)[1]


def test_the_driver_holds_the_car(car: Answer) -> None:
    """No mode of the loop grows: the car alone leaves its trim at more than 1 1/s there."""
    assert np.linalg.eigvals(car.law).real.max() < 1e-6


def test_the_exponential_is_that_of_another_library(car: Answer) -> None:
    """SciPy's Pade approximation, to 1e-9 of the largest entry."""
    own = linear_march._exponential(4e-3 * car.law)
    assert own == pytest.approx(
        expm(4e-3 * car.law), abs=1e-9 * np.abs(own).max()
    )


def test_marching_is_that_of_another_library(car: Answer) -> None:
    """A push on the body for 0.3 s, against SciPy's exact steps with it held in between.

    Held, it comes half a step of 4 ms late or early: to 3 % of the highest heave.
    """
    step, size = linear_march.STEP, len(car.law)
    force = np.sin(np.pi * np.arange(76) / 75.0) ** 2
    push = np.zeros((76, 1, size))
    push[:, 0, 7] = force
    found = linear_march.marched(car.law, push)[:, 0, 0]
    law = (car.law, np.eye(size), np.eye(size), np.zeros((size, size)))
    transition, gain, *_ = cont2discrete(law, step)
    state = np.zeros(size)
    heave = []
    for k in range(76):
        heave.append(state[0])
        state = transition @ state + gain @ push[k, 0]
    assert found == pytest.approx(
        np.array(heave), abs=0.03 * np.abs(found).max()
    )


@pytest.mark.parametrize("kind", KINDS)
def test_twice_as_much_is_stood_half_as_often(bore: Project, kind: str) -> None:
    """A linear car: what is stood does not hang on what is asked (1e-9 of it)."""
    more = Require(bump=0.02, seam=0.01, gust=10.0, road=True)
    one, other = linear(bore), linear(bore, more)
    asked = [float(getattr(require, kind)) for require in (ASKED, more)]
    shares = [stood.stood(answer, kind)[0] for stood, answer in (one, other)]
    assert shares[1] * asked[1] == pytest.approx(shares[0] * asked[0], rel=1e-9)


def test_a_rougher_road_is_stood_less(bore: Project) -> None:
    """Four times the spectrum is twice the height (1e-9)."""
    rough = replace(
        bore,
        venue=replace(
            bore.venue, roughness=4.0 * (bore.venue.roughness or 0.0)
        ),
    )
    (stood, smooth), (other, rougher) = linear(bore), linear(rough)
    assert other.stood(rougher, "road")[0] == pytest.approx(
        0.5 * stood.stood(smooth, "road")[0], rel=1e-9
    )


def test_one_variant_alone_is_stood_as_among_all(
    car: Answer, bore: Project
) -> None:
    """The worst variant, asked for alone, has the number of the worst of all (1e-9)."""
    stood = LinearStood(bore, ASKED)
    for kind in KINDS:
        worst, variant = stood.stood(car, kind)
        assert stood.stood(car, kind, variant)[0] == pytest.approx(
            worst, rel=1e-9
        )
