"""The plain slip model against published single-track numbers, exact kinematics and the page's table."""

from collections.abc import Sequence
from dataclasses import replace
from math import atan2, cos, inf, radians, sin

import numpy as np
import pytest
from bore_car import PAGE, bore_case, bore_project
from plain_car import GRAVITY, Table
from plain_slip_car import (
    SlipCar,
    SlipCase,
    course_acceleration,
    gravity,
    inertia_moments,
    read_slip_car,
    read_slip_case,
    rotation,
    rotation_rate,
    stand_of,
)
from plain_slip_forces import Scene
from plain_slip_model import (
    Branch,
    Problem,
    follow,
    friction_slope_of,
    growth_rate,
    led_up,
    motion_matrix,
    solve_slip_case,
    uses,
)
from plain_slip_tyre import Slip, bed_at_load, brush_force

Vector = Sequence[float] | np.ndarray


def problem_of(project: tuple[Table, Table, Table], case: Table) -> Problem:
    car, venue, setup = project
    si_car = read_slip_car(car, setup, venue["venue"]["surface_grip"])
    return Problem(si_car, read_slip_case(venue, case))


# --- the page's own table -------------------------------------------------------------------------

HELD = [row for row, (_, loads) in PAGE.items() if loads is not None]
SLIDING = [row for row in PAGE if row not in HELD]


@pytest.mark.parametrize(("proposed", "wind"), HELD)
def test_table_of_the_page(proposed: bool, wind: float) -> None:
    """Computed by another program written apart; margins to its printed digits, loads to theirs (10 N)."""
    margin, loads = PAGE[proposed, wind]
    result = solve_slip_case(
        *bore_project(proposed), bore_case(crosswind_m_s=wind)
    )
    assert result["kind"] == "held"
    assert result["ended"] == "fold"
    assert result["margin"] == pytest.approx(margin, abs=0.0006)
    assert result["loads"] == pytest.approx(loads, abs=6)
    assert result["wheels_in_air"] == 1
    assert result["residual"] < 1e-9


@pytest.mark.parametrize(("proposed", "wind"), SLIDING)
def test_sliding_rows_of_the_table(proposed: bool, wind: float) -> None:
    """Followed down from two and a half times the friction; the whole search is too slow for a test."""
    problem = problem_of(bore_project(proposed), bore_case(crosswind_m_s=wind))
    branch = follow(problem, led_up(problem.car, problem.case, 2.5), 2.5)
    assert branch.ended == "fold"
    assert 1 - branch.least == pytest.approx(PAGE[proposed, wind][0], abs=0.005)


# --- section 11: kinematics on a cylinder ----------------------------------------------------------

PATH = SlipCase(
    roll_angle=radians(70),
    speed=40.0,
    course=radians(25),
    acceleration=3.0,
    path_curvature=0.01,
    turn_curvature=0.0,
    yaw_acceleration=0.0,
    headwind=0.0,
    crosswind=0.0,
    bumps=(0.0,) * 4,
    radius=8.0,
    slope=0.0,
    air_density=1.2,
)


def along_path(t: float) -> tuple[float, float, float]:
    """Axial place, angle round the section and course after t, for constant v' and kappa: a midpoint sum."""
    steps = 400
    x, phi = 0.0, PATH.roll_angle
    for i in range(steps):
        now = (i + 0.5) / steps * t
        v = PATH.speed + PATH.acceleration * now
        way = PATH.speed * now + PATH.acceleration * now**2 / 2
        chi = PATH.course + PATH.path_curvature * way
        x += v * cos(chi) * t / steps
        phi += v * sin(chi) / PATH.radius * t / steps
    way = PATH.speed * t + PATH.acceleration * t**2 / 2
    return x, phi, PATH.course + PATH.path_curvature * way


def frame(t: float, beta: float) -> np.ndarray:
    """The car's axes as rows, in a frame whose first axis is the bore's and whose third points up."""
    _, phi, chi = along_path(t)
    axis = np.array([1.0, 0.0, 0.0])
    around = np.array([0.0, cos(phi), sin(phi)])
    up = np.array([0.0, -sin(phi), cos(phi)])
    psi = chi - beta
    return np.array(
        [
            cos(psi) * axis + sin(psi) * around,
            cos(psi) * around - sin(psi) * axis,
            up,
        ]
    )


def test_acceleration_of_the_centre_of_gravity() -> None:
    """Second difference of the place of a point held at h over the surface, on a curved, accelerated path."""
    height, step = 0.3, 1e-3

    def place(t: float) -> np.ndarray:
        x, phi, _ = along_path(t)
        return np.array(
            [
                x,
                (PATH.radius - height) * sin(phi),
                -(PATH.radius - height) * cos(phi),
            ]
        )

    felt = (place(step) - 2 * place(0.0) + place(-step)) / step**2
    assert frame(0.0, 0.0) @ felt == pytest.approx(
        course_acceleration(PATH, height), abs=2e-3
    )


def test_gravity_in_the_cars_axes() -> None:
    beta = radians(-5)
    expected = frame(0.0, beta) @ np.array([0.0, 0.0, -GRAVITY])
    assert gravity(PATH, PATH.course - beta) == pytest.approx(
        expected, rel=1e-12
    )


def test_rotation_and_its_rate() -> None:
    """omega from the turning of the car's axes, sideslip held; its rate by differences."""
    beta, step = radians(-5), 1e-3

    def omega(t: float) -> np.ndarray:
        axes = frame(t, beta)
        turning = (frame(t + step, beta) - frame(t - step, beta)) / (2 * step)
        return np.array(
            [turning[1] @ axes[2], turning[2] @ axes[0], turning[0] @ axes[1]]
        )

    psi = PATH.course - beta
    steady = replace(
        PATH, yaw_acceleration=PATH.acceleration * PATH.path_curvature
    )
    assert omega(0.0) == pytest.approx(rotation(PATH, psi), abs=1e-4)
    rate = (omega(step) - omega(-step)) / (2 * step)
    assert rate == pytest.approx(rotation_rate(steady, psi), abs=2e-3)


def test_a_horizontal_turn_presses_on() -> None:
    """A banked bend: acceleration v^2/rho level and towards the low side, whatever the bank."""
    case = replace(
        PATH,
        radius=inf,
        course=0.0,
        acceleration=0.0,
        path_curvature=0.0,
        turn_curvature=1 / 300,
    )
    level = 40.0**2 / 300
    a_t, a_n, a_z = course_acceleration(case, 0.3)
    assert (a_t, a_n) == pytest.approx(
        (0.0, -level * cos(case.roll_angle)), rel=1e-12
    )
    assert a_z == pytest.approx(level * sin(case.roll_angle), rel=1e-12)
    assert rotation(case, 0.0) == pytest.approx(
        (
            0.0,
            -40 / 300 * sin(case.roll_angle),
            -40 / 300 * cos(case.roll_angle),
        ),
        rel=1e-12,
    )


def test_moments_are_euler_and_gyroscope() -> None:
    """Euler's equations of a rigid body, and H x omega of the wheels, for the car in a curve on the wall."""
    car, venue, setup = bore_project(True)
    car["car"]["yaw_inertia_kgm2"] = 560.0
    for end in ("front", "rear"):
        car[end]["wheel_inertia_kgm2"] = 0.7
    si_car = read_slip_car(car, setup, 1.0)
    psi = PATH.course + radians(5)
    omega, rate = (
        np.array(rotation(PATH, psi)),
        np.array(rotation_rate(PATH, psi)),
    )
    inertia = np.array([110.0, 520.0, 560.0])
    spin = np.array([0.0, 2 * 0.7 * 40 / 0.28 + 2 * 0.7 * 40 / 0.285, 0.0])
    expected = inertia * rate + np.cross(omega, inertia * omega + spin)
    assert inertia_moments(si_car, PATH, -radians(5)) == pytest.approx(
        expected, rel=1e-12
    )
    assert venue


def test_wind_in_the_bodys_axes() -> None:
    """Head- and crosswind lie along and across the course; the body is turned by the sideslip."""
    project = bore_project(True)
    problem = problem_of(
        project, bore_case(headwind_m_s=3.0, crosswind_m_s=5.0)
    )
    beta = radians(4)
    stand = stand_of(problem.car, problem.case, beta)
    assert stand.flow_angle == pytest.approx(atan2(5.0, 53.0) + beta, rel=1e-12)
    assert stand.dynamic_pressure == pytest.approx(
        1.19 * (53.0**2 + 5.0**2) / 2, rel=1e-12
    )


# --- single track ----------------------------------------------------------------------------------


def understeer(
    load_f: float, load_r: float, stiff_f: float, stiff_r: float
) -> float:
    """rad: axle load over axle stiffness, front less rear."""
    return load_f / stiff_f - load_r / stiff_r


def test_single_track_of_pacejka() -> None:
    """Pacejka, Tyre and Vehicle Dynamics, table 1.1 (from memory, recomputed): 0.0174 rad, margin 0.0333."""
    a, b, stiff, mass, g = 1.4, 1.6, 60e3, 1600.0, 9.81
    load_f, load_r = mass * g * b / (a + b), mass * g * a / (a + b)
    assert (load_f, load_r) == pytest.approx((8371, 7325), abs=0.5)
    assert understeer(load_f, load_r, stiff, stiff) == pytest.approx(
        0.0174, abs=5e-5
    )
    assert (b - a) / 2 / (a + b) == pytest.approx(0.0333, abs=5e-5)


def test_single_track_of_wong() -> None:
    """Wong, Theory of Ground Vehicles, example 5.1 (from memory, recomputed): 0.0160 rad, 149 km/h."""
    weight, wheelbase = 20105.0, 2.8
    k = understeer(0.535 * weight, 0.465 * weight, 2 * 38.92e3, 2 * 38.25e3)
    assert k == pytest.approx(0.0160, abs=5e-5)
    assert (9.81 * wheelbase / k) ** 0.5 * 3.6 == pytest.approx(149, abs=0.6)


def flat_project() -> tuple[Table, Table, Table]:
    """No air, no camber, no lean, no spin: what a single track knows."""
    car, venue, setup = bore_project(False)
    venue["venue"] |= {"air_density_kg_m3": 1e-9, "section": "flat"}
    car["car"] |= {
        "driven": "rear",
        "differential": "open",
        "yaw_inertia_kgm2": 600.0,
    }
    for end in ("front", "rear"):
        setup[end]["camber_deg"] = 0.0
        car[end]["camber_gain_deg_per_mm"] = 0.0
    for tyre in car["tyre"].values():
        tyre |= {
            "inclination_compliance_deg_per_kN": 0.0,
            "camber_thrust_share": 0.0,
        }
    return car, venue, setup


def axle_stiffness(car: SlipCar, axle: int) -> tuple[float, float]:
    """N/rad of both wheels at their static load, and the trail, m."""
    end = car.ends[axle]
    bed = bed_at_load(
        end.brush,
        end.static_load,
        0.0,
        1 / end.brush.radius,
        1 / end.brush.crown,
    )
    force = brush_force(bed, Slip(0.0, 1e-7, 0.0, 1.0))
    return 2 * force.fy / 1e-7, -force.mz / force.fy


def test_steer_and_sideslip_of_a_single_track() -> None:
    """delta = L kappa + a_f - a_r, beta = b kappa - a_r, the axles' forces acting a trail behind them."""
    curvature, speed = 1e-4, 20.0
    problem = problem_of(
        flat_project(),
        {
            "roll_angle_deg": 0.0,
            "speed_m_s": speed,
            "path_curvature_per_m": curvature,
        },
    )
    car = problem.car
    x = problem.settle(led_up(car, problem.case, 1.0), 1.0)
    state = x * problem.units
    (stiff_f, trail_f), (stiff_r, trail_r) = (
        axle_stiffness(car, 0),
        axle_stiffness(car, 1),
    )
    a, b = car.axles[0].x - trail_f, -car.axles[1].x + trail_r
    side = car.mass * speed**2 * curvature
    alpha_f, alpha_r = (
        side * b / (a + b) / stiff_f,
        side * a / (a + b) / stiff_r,
    )
    beta = -car.axles[1].x * curvature - alpha_r
    assert state[7] == pytest.approx(beta, abs=2e-3 * alpha_r)
    assert state[8] == pytest.approx(
        car.wheelbase * curvature + alpha_f - alpha_r, rel=2e-3
    )


def test_motion_of_a_single_track() -> None:
    """The linear single track: wheels that roll freely do not damp the yaw; two motionless modes."""
    speed = 20.0
    problem = problem_of(
        flat_project(), {"roll_angle_deg": 0.0, "speed_m_s": speed}
    )
    car = problem.car
    x = problem.settle(led_up(car, problem.case, 1.0), 1.0)
    got = motion_matrix(problem, x * problem.units)
    stiff, lever = [], []
    for axle in (0, 1):
        c, trail = axle_stiffness(car, axle)
        stiff.append(c)
        lever.append((car.axles[axle].x, car.axles[axle].x - trail))
    m, i_z = car.mass, car.yaw_inertia
    slip_force = -sum(stiff) / (m * speed)
    turn_force = (
        -sum(c * at for c, (at, _) in zip(stiff, lever, strict=True))
        / (m * speed)
        - speed
    )
    slip_moment = -sum(
        c * arm for c, (_, arm) in zip(stiff, lever, strict=True)
    ) / (i_z * speed)
    turn_moment = -sum(
        c * arm * at for c, (at, arm) in zip(stiff, lever, strict=True)
    ) / (i_z * speed)
    expected = np.array([[slip_force, turn_force], [slip_moment, turn_moment]])
    wheels = got[4:, 4:]
    at_once = got[:4, :4] - got[:4, 4:] @ np.linalg.solve(wheels, got[4:, :4])
    assert at_once[:2, :2] == pytest.approx(expected, rel=2e-3)
    assert got[:, 3] == pytest.approx(np.zeros(len(got)), abs=1e-6)
    assert growth_rate(problem, x) == pytest.approx(0.0, abs=1e-3)


# --- the trim --------------------------------------------------------------------------------------


def test_mirror() -> None:
    """phi, course, crosswind and path's curvature turned round, left and right exchanged: the same trim."""
    case = bore_case(
        roll_angle_deg=100.0,
        heading_deg=2.0,
        crosswind_m_s=3.0,
        path_curvature_per_m=1e-3,
    )
    mirrored = case | {
        name: -case[name] for name in case if name != "speed_m_s"
    }
    trims = []
    for one in (case, mirrored):
        problem = problem_of(bore_project(True), one)
        x = led_up(problem.car, problem.case, 1.0)
        trims.append(problem.scene(x, 1.0))
    loads = [[w.load for w in trim.wheels] for trim in trims]
    weight = trims[0].car.mass * GRAVITY
    assert loads[1] == pytest.approx(
        [loads[0][i] for i in (1, 0, 3, 2)], abs=1e-7 * weight
    )
    assert trims[1].state.beta == pytest.approx(-trims[0].state.beta, abs=1e-8)
    assert trims[1].state.steer == pytest.approx(
        -trims[0].state.steer, abs=1e-8
    )


def about_axis(scene: Scene, place: Vector, force: Vector) -> float:
    """Moment of a force about the bore's axis, which lies along the heading at R over the surface."""
    psi, (x, y, z), (fx, fy, fz) = scene.stand.heading, place, force
    below = z - scene.stand.radius
    return cos(psi) * (y * fz - below * fy) - sin(psi) * (below * fx - x * fz)


@pytest.mark.parametrize(
    ("phi", "wind", "course"), [(100.0, 0.0, 0.0), (60.0, 5.0, 4.0)]
)
def test_moment_about_the_bores_axis(
    phi: float, wind: float, course: float
) -> None:
    """All normals, leaning along the car too, meet on the axis: friction alone carries weight and air."""
    case = bore_case(roll_angle_deg=phi, crosswind_m_s=wind, heading_deg=course)
    problem = problem_of(bore_project(True), case)
    scene = problem.scene(led_up(problem.car, problem.case, 1.0), 1.0)
    friction, normal = 0.0, 0.0
    for w in scene.wheels:
        at = (w.x, w.y, w.ground)
        friction += about_axis(
            scene, at, (w.fx, w.side * cos(w.slope), w.side * sin(w.slope))
        )
        normal += about_axis(
            scene,
            at,
            (w.along_load, -w.load * sin(w.slope), w.load * cos(w.slope)),
        )
    assert normal == pytest.approx(0.0, abs=1e-9)
    assert friction + moment_of_weight(scene) + moment_of_air(
        scene
    ) == pytest.approx(0.0, abs=1e-5)


def moment_of_weight(scene: Scene) -> float:
    """Of b on the sprung mass and on the wheels, Nm."""
    car, state = scene.car, scene.state
    push = np.array(scene.stand.push)
    height, sprung = car.sprung_height, car.sprung_mass
    behind = -sum(w.x * w.axle.unsprung_mass for w in scene.wheels) / sprung
    up = (0.0, 0.0, sprung * push[2])
    moment = about_axis(
        scene,
        (height * state.pitch, -height * state.roll, height + state.z),
        sprung * push,
    )
    moment += about_axis(scene, (behind, 0.0, 0.0), up) - about_axis(
        scene, (0.0, 0.0, 0.0), up
    )
    for w in scene.wheels:
        at = (w.x, w.y, w.axle.unsprung_height + w.rise)
        moment += about_axis(scene, at, w.axle.unsprung_mass * push)
    return moment


def moment_of_air(scene: Scene) -> float:
    """Of downforce, side force and drag, and of the loads' places within the tread, Nm."""
    psi, car = scene.stand.heading, scene.car
    moment = cos(psi) * sum(w.sigma * w.bed.load_moment for w in scene.wheels)
    moment += cos(psi) * scene.air.roll - sin(psi) * scene.air.pitch
    moment += about_axis(
        scene, (0.0, 0.0, car.side_height), (0.0, scene.side_wind, 0.0)
    )
    return moment + about_axis(
        scene, (0.0, 0.0, car.drag_height), (-scene.drag, 0.0, 0.0)
    )


def test_full_drive_and_brakes() -> None:
    """Brakes: one slip for both wheels of an axle, shares as set; drive: one speed of both wheels."""
    braking = problem_of(
        bore_project(True),
        bore_case(roll_angle_deg=60.0, acceleration_m_s2=-6.0),
    )
    scene = braking.scene(led_up(braking.car, braking.case, 1.0), 1.0)
    front = scene.wheels[0].fx + scene.wheels[1].fx
    assert scene.needed < 0
    assert front == pytest.approx(0.58 * scene.needed, abs=1e-5)
    assert scene.wheels[2].kappa == pytest.approx(
        scene.wheels[3].kappa, abs=1e-10
    )
    driving = problem_of(
        bore_project(True),
        bore_case(roll_angle_deg=60.0, path_curvature_per_m=2e-3),
    )
    scene = driving.scene(led_up(driving.car, driving.case, 1.0), 1.0)
    left, right = scene.wheels[:2]
    assert (1 + left.kappa) * left.speed_along == pytest.approx(
        (1 + right.kappa) * right.speed_along, rel=1e-9
    )


def test_open_differential_halves_the_drive() -> None:
    car, venue, setup = bore_project(True)
    car["car"] |= {"driven": "rear", "differential": "open"}
    problem = problem_of((car, venue, setup), bore_case(roll_angle_deg=60.0))
    scene = problem.scene(led_up(problem.car, problem.case, 1.0), 1.0)
    assert [w.fx for w in scene.wheels] == pytest.approx(
        [0.0, 0.0, scene.needed / 2, scene.needed / 2], abs=1e-5
    )


def test_lost_without_downforce() -> None:
    assert solve_slip_case(*bore_project(True), bore_case(speed_m_s=15.0)) == {
        "kind": "lost"
    }


@pytest.fixture(scope="module")
def folded() -> tuple[Problem, Branch]:
    problem = problem_of(bore_project(True), bore_case(crosswind_m_s=-6.0))
    return problem, follow(problem, led_up(problem.car, problem.case, 1.0), 1.0)


def test_the_same_fold_from_larger_friction(
    folded: tuple[Problem, Branch],
) -> None:
    problem, branch = folded
    other = follow(problem, led_up(problem.car, problem.case, 2.5), 2.5)
    assert other.least == pytest.approx(branch.least, abs=1e-6)
    assert other.at_full == pytest.approx(branch.at_full, abs=1e-4)


def test_slope_of_the_margin_at_the_fold(
    folded: tuple[Problem, Branch],
) -> None:
    """By the left null vector against the fold found again with a little more wind."""
    problem, branch = folded
    change = 0.05
    more, less = (
        Problem(problem.car, replace(problem.case, crosswind=-6.0 + shift))
        for shift in (change, -change)
    )
    slope = friction_slope_of(problem, branch.end, branch.least, more, change)
    ends = [
        follow(p, p.settle(branch.at_full, 1.0), 1.0).least
        for p in (more, less)
    ]
    assert slope == pytest.approx((ends[0] - ends[1]) / (2 * change), rel=0.02)


def test_an_axle_slides_at_the_fold(folded: tuple[Problem, Branch]) -> None:
    problem, branch = folded
    assert 0.85 < max(uses(problem.scene(branch.end, branch.least))) <= 1.0


def test_front_axle_slides_without_a_fold() -> None:
    """On the vertical wall the front axle goes first: steer and slip grow without end at one friction."""
    problem = problem_of(bore_project(True), bore_case(roll_angle_deg=90.0))
    branch = follow(problem, led_up(problem.car, problem.case, 1.0), 1.0)
    assert branch.ended == "slip"
    assert uses(problem.scene(branch.end, branch.least))[0] == pytest.approx(
        1.0, abs=1e-4
    )
    assert branch.least == pytest.approx(0.48429, abs=1e-4)


def test_a_fold_where_the_wheels_planes_share_the_drive() -> None:
    """Torque acts in the wheel's plane, so steering on costs side force: the front axle's slide folds."""
    problem = problem_of(bore_project(True), bore_case(roll_angle_deg=90.0))
    turned = Problem(
        replace(problem.car, drive_in_wheel_planes=True), problem.case
    )
    branch = follow(turned, led_up(turned.car, turned.case, 1.0), 1.0)
    assert branch.ended == "fold"
    assert 1 - branch.least == pytest.approx(0.520155, abs=5e-6)
