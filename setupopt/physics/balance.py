"""Forces on the car in a trial trim, what is left over, and how that changes: residual and Jacobian.

Unknowns: heave z, pitch theta (nose down), body roll phi (left side up), rise of the wheel centres
w FL, FR, RL, RR. Rows: heave force, pitch moment, roll moment, the four wheels' normal forces;
in newtons and newton metres, all zero in equilibrium.
"""

from __future__ import annotations

from math import tan

from setupopt.physics import air, suspension, tyre
from setupopt.physics.inputs import Floats, Record, Records, layout
from setupopt.physics.jit import kernel
from setupopt.units import GRAVITY

# Scratch of one thread for one trial trim. slant: tan(inclination); depth: crown penetration; shift:
# how much less of it carries the same load per slant; moment: of the normal force about the tread's
# middle. across: lateral force over the surface's normal, T = tau N; lateral, vertical: force along the
# car's y and z; body: force up on the body, suspension and links. Slopes: load and moment by heave,
# pitch, roll, own wheel's rise; lateral and vertical by own and other wheel's load; body, side and
# wheel by heave, pitch, roll, own and other wheel's rise. forces_only: true where nobody asks for slopes, as
# in a step in time; they are then left as they are.
WORK = layout(
    axles="tau",
    wheels="travel inclination slant shift depth load moment patch across lateral vertical body",
    more=(
        ("state", "f8", (7,)), ("trial", "f8", (7,)), ("last", "f8", (7,)), ("step", "f8", (7,)),
        ("residual", "f8", (7,)), ("jacobian", "f8", (7, 7)), ("body_matrix", "f8", (3, 3)),
        ("body_right", "f8", (3,)),
        ("load_slope", "f8", (4, 4)), ("moment_slope", "f8", (4, 4)),
        ("lateral_slope", "f8", (4, 2)), ("vertical_slope", "f8", (4, 2)),
        ("body_slope", "f8", (4, 5)), ("side_slope", "f8", (4, 5)), ("wheel_slope", "f8", (4, 5)),
        ("lift", "f8", (3,)), ("air_slope", "f8", (3, 3)), ("ends", "f8", (5,)), ("forces_only", "?"),
    ),
)  # fmt: skip


@kernel
def _tyres(car: Record, setup: Record, place: Record, x: Floats, work: Record) -> None:
    """Normal force of every tyre and its slopes."""
    for w in range(4):
        side = car.side[w]
        gain, lean, cos_tilt = car.camber_gain[w], place.lean, place.cos_tilt[w]
        travel = x[3 + w] - (x[0] - car.x[w] * x[1] + car.y[w] * x[2])
        eps = lean * (setup.camber[w] + gain * travel + side * (place.tilt[w] - x[2]))
        crown = car.radius[w] - setup.penetration[w] + x[3 + w] - place.rise[w]
        depth, t, k = car.radius[w] - crown * cos_tilt, tan(eps), setup.foundation[w]
        n, m, s0, s1, s2 = tyre.contact(
            depth, t, place.curve_along[w], place.curve_across[w], car.half_width[w], k, work.ends
        )
        work.travel[w], work.inclination[w], work.slant[w], work.depth[w] = travel, eps, t, depth
        work.load[w], work.moment[w], work.patch[w] = n, m, s0 / k
        work.shift[w] = s1 / s0 if s0 > 0.0 else 0.0
        if work.forces_only:
            continue
        turn = lean * (1.0 + t * t)
        for c in range(4):
            by = gain * (-1.0 if c == 0 else car.x[w] if c == 1 else -car.y[w] if c == 2 else 1.0)
            by = turn * (by - side if c == 2 else by)
            work.load_slope[w, c], work.moment_slope[w, c] = s1 * by, s2 * by
        work.load_slope[w, 3] -= s0 * cos_tilt
        work.moment_slope[w, 3] -= s1 * cos_tilt


@kernel
def _share_lateral(place: Record, axle: int, work: Record) -> None:
    """Share the axle's lateral force in proportion to load; nothing where the axle is in the air."""
    i, o = 2 * axle, 2 * axle + 1
    work.lateral_slope[i : o + 1] = 0.0
    work.vertical_slope[i : o + 1] = 0.0
    down = work.load[i] * place.cos_tilt[i] + work.load[o] * place.cos_tilt[o]
    lean = work.load[i] * place.sin_tilt[i] + work.load[o] * place.sin_tilt[o]
    tau = (place.axle_side[axle] + lean) / down if down > 0.0 else 0.0
    work.tau[axle] = tau
    for w in range(i, o + 1):
        c, s, other = place.cos_tilt[w], place.sin_tilt[w], i + o - w
        work.across[w] = tau * work.load[w]
        work.lateral[w], work.vertical[w] = work.load[w] * (tau * c - s), work.load[w] * (c + tau * s)
        if down > 0.0 and not work.forces_only:
            own = work.load[w] * (s - tau * c) / down
            cross = work.load[w] * (place.sin_tilt[other] - tau * place.cos_tilt[other]) / down
            work.lateral_slope[w, 0], work.lateral_slope[w, 1] = tau * c - s + own * c, cross * c
            work.vertical_slope[w, 0], work.vertical_slope[w, 1] = c + tau * s + own * s, cross * s


@kernel
def _suspension(car: Record, setup: Record, place: Record, w: int, work: Record) -> None:
    """Force up on the body at one wheel, and the slopes of all that hangs on this wheel."""
    axle, other = w // 2, w + 1 - 2 * (w % 2)
    force, own, cross = suspension.spring_force(
        work.travel[w], work.travel[other], setup.wheel_rate[w], setup.anti_roll[axle],
        setup.third[axle],
    )  # fmt: skip
    stop, rate = suspension.stop_force(
        work.travel[w], car.bump_travel[w], car.droop_travel[w], car.stop_rate[w]
    )
    own += rate
    rest = car.static_load[w] - car.unsprung_mass[w] * GRAVITY
    link = place.transfer * car.link[w]
    work.body[w] = rest + force + stop + link * work.lateral[w] + car.anti[w] * place.wheel_drive[w]
    if work.forces_only:
        return
    spring_0, spring_1 = -(own + cross), car.x[w] * own + car.x[other] * cross
    spring_2 = -(car.y[w] * own + car.y[other] * cross)
    for c in range(5):
        mine = work.load_slope[w, min(c, 3)] if c < 4 else 0.0
        its = work.load_slope[other, min(c, 3)] if c != 3 else 0.0
        spring = (
            spring_0 if c == 0 else spring_1 if c == 1 else spring_2 if c == 2 else own if c == 3 else cross
        )
        side = work.lateral_slope[w, 0] * mine + work.lateral_slope[w, 1] * its
        work.side_slope[w, c] = side
        work.body_slope[w, c] = spring + link * side
        vertical = work.vertical_slope[w, 0] * mine + work.vertical_slope[w, 1] * its
        work.wheel_slope[w, c] = vertical - work.body_slope[w, c]


@kernel
def _body_rows(car: Record, place: Record, x: Floats, work: Record) -> None:
    """Heave, pitch and roll of the body: weight, inertia and air; the wheels come on top."""
    bx, by, bz = place.pull[0], place.transfer * place.pull[1], place.pull[2]
    ms, hs, r, jac = car.sprung_mass, car.sprung_height, work.residual, work.jacobian
    drag, side = place.drag, place.transfer * place.side_force
    r[0] = ms * bz - work.lift[0]
    r[1] = (hs + x[0]) * ms * bx - hs * x[1] * ms * bz + work.lift[2] - car.drag_height * drag
    r[2] = -(hs + x[0]) * ms * by - hs * x[2] * ms * bz + work.lift[1] - car.side_height * side
    if work.forces_only:
        return
    for c in range(3):
        jac[0, c] = -work.air_slope[0, c]
        jac[1, c] = work.air_slope[2, c]
        jac[2, c] = work.air_slope[1, c]
    jac[1, 0] += ms * bx
    jac[1, 1] -= hs * ms * bz
    jac[2, 0] -= ms * by
    jac[2, 2] -= hs * ms * bz


@kernel
def _wheel_rows(car: Record, place: Record, x: Floats, w: int, work: Record) -> None:
    """Add one wheel to every row.

    The sprung mass's own CG stands ahead of or behind the car's where the unsprung masses do not
    balance; `x m_u b_z` carries that into the pitch moment, so that the pad is an equilibrium.
    """
    bx, by, bz = place.pull[0], place.transfer * place.pull[1], place.pull[2]
    mu, up, rise = car.unsprung_mass[w], car.unsprung_height[w] + x[3 + w], place.rise[w]
    arm = place.transfer * rise
    side = car.side[w]
    r, jac = work.residual, work.jacobian
    r[0] += work.body[w]
    r[1] += -car.x[w] * (work.body[w] - mu * bz) + up * mu * bx + rise * place.wheel_drive[w]
    r[2] += car.y[w] * work.body[w] - up * mu * by - arm * work.lateral[w] + side * work.moment[w]
    r[3 + w] = work.vertical[w] - work.body[w] + mu * bz
    if work.forces_only:
        return
    for c in range(5):
        column = c if c < 3 else 3 + w if c == 3 else 4 + w - 2 * (w % 2)
        jac[0, column] += work.body_slope[w, c]
        jac[1, column] -= car.x[w] * work.body_slope[w, c]
        jac[2, column] += car.y[w] * work.body_slope[w, c] - arm * work.side_slope[w, c]
        jac[3 + w, column] = work.wheel_slope[w, c]
        if c < 4:
            jac[2, column] += side * work.moment_slope[w, c]
    jac[1, 3 + w] += mu * bx
    jac[2, 3 + w] -= mu * by


@kernel
def balance(
    car: Record, elements: Records, setup: Record, place: Record, flow: Records, x: Floats, work: Record
) -> None:
    """Residual and (unless `work.forces_only`) Jacobian at state `x`, into `work`; every force on the way."""
    _tyres(car, setup, place, x, work)
    _share_lateral(place, 0, work)
    _share_lateral(place, 1, work)
    slopes = not work.forces_only
    lift, roll, pitch = air.downforce(elements, flow, x[0], x[1], x[2], slopes, work.air_slope)
    work.lift[0], work.lift[1], work.lift[2] = lift, roll, pitch
    if slopes:
        work.jacobian[:, :] = 0.0
    _body_rows(car, place, x, work)
    for w in range(4):
        _suspension(car, setup, place, w, work)
        _wheel_rows(car, place, x, w, work)
