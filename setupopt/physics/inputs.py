"""What the kernels take and give: records of floats and small arrays, SI units.

Wheels stand in the order FL, FR, RL, RR; axles front, rear. A record is one element of a NumPy
structured array; kernels read its fields by name, compiled or not.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
# One element, or an array, of one of the layouts below.
Record = Any
Records = Any
# What all trials of one case share: car, elements, setup, case, state, road.
Trial = tuple[Record, Records, Record, Record, Record, Records]

# Strips of an air element; the middle one stands at its centre.
STRIPS_ALONG = 3
STRIPS_ACROSS = 5
STRIPS = STRIPS_ALONG * STRIPS_ACROSS
# Room for them in scratch.
STRIPS_KEPT = 16
# Joints of the section that a case knows of on each side of the car; it sees no further than it is long.
JOINTS = 12
# Most rows of a tyre's table of growth by speed.
GROWTH_ROWS = 8

# Unknowns of a trim, in this order: heave z, pitch theta, body roll phi, rise of the wheel centres w (4),
# sideslip beta, steer delta, longitudinal slip kappa of the wheels (4), lateral force of the axles over the
# weight tau (2). The friction factor comes after them where it is followed.
UNKNOWNS = 15
RISE = 3
SIDESLIP = 7
STEER = 8
KAPPA = 9
TAU = 13
# The ride moves the first seven; the rest it holds.
RIDE_STATES = 7

_Field = tuple[str, str] | tuple[str, str, tuple[int, ...]]


def layout(
    *,
    one: str = "",
    axles: str = "",
    wheels: str = "",
    more: tuple[_Field, ...] = (),
) -> Any:
    """A record's layout: names of scalars, of pairs by axle, of fours by wheel, and further fields."""
    fields: list[_Field] = [(name, "f8") for name in one.split()]
    fields += [(name, "f8", (2,)) for name in axles.split()]
    fields += [(name, "f8", (4,)) for name in wheels.split()]
    return np.dtype((np.record, np.dtype([*fields, *more], align=True)))


# The car without its setup. to_front, to_rear: axles from the CG (a, b). middle: y of the centre line. link,
# anti: vertical link force per lateral and longitudinal force. crown: crown curvature, 1/m. friction_beta:
# B(1/2, 2 - n). compliance: rad per N. drive, brake: shares. is_open, is_locked: 1 where such a differential
# drives the axle. ride_x: where ride height is measured. inertia: roll and pitch of the sprung mass, yaw of
# the car; spin_inertia: of all wheels over their radius, kg m; both zero where the project leaves them out.
# shear: tangential over radial stiffness of the tread's bed; thrust: share of the spin that the tread
# follows; friction_floor: the least pressure in the patch's middle that the friction law takes, Pa.
# relaxation: length by which slip lags, m; not a number where it follows from the patch. radius: at rest;
# growth: what a speed of growth_speed adds to it, m, in rows that rise from a speed of zero; zeros after the last.
VEHICLE = layout(
    one="mass sprung_mass sprung_height cg_height wheelbase to_front to_rear middle "
    "drag_area drag_height side_area side_x side_height spin_inertia",
    axles="drive brake is_open is_locked ride_x",
    wheels="x y side unsprung_mass unsprung_height static_load camber_gain bump_travel droop_travel "
    "stop_rate link anti radius half_width crown friction friction_pressure friction_exponent "
    "friction_beta compliance shear thrust friction_floor relaxation",
    more=(
        ("inertia", "f8", (3,)),
        ("growth_speed", "f8", (4, GROWTH_ROWS)),
        ("growth", "f8", (4, GROWTH_ROWS)),
    ),
)

# An air element: its middle, spacing of its strips along and across, height over the floor line, then
# areas of one strip, peak gap and yaw loss. Middle strips stand at x and on the centre line.
ELEMENT = layout(one="x y along across offset free ground peak yaw_loss")

# A named point of the floor, and the least gap it needs.
POINT = layout(one="x y offset least")

# A setup. foundation: N/m3 at the set pressure; carcass: N/m at that pressure, 0 where it is rigid;
# penetration: of the crown on the pad, tread and carcass together. anti_roll and third: N/m at the wheel.
# toe: rad, toe-in positive. car: the row of the car that the setup makes; floor_roll: rad, left side up.
SETTING = layout(
    one="car floor_roll",
    axles="anti_roll third ride_height",
    wheels="camber wheel_rate foundation carcass toe penetration",
)

# A load case. heading: the course, direction of travel against the venue's axis. along: place on a section of
# parts, m. turn_curvature: of a horizontal turn towards the low side, 1/m. yaw_acceleration: rad/s2.
# curvature: of the section below the CG. joints: how many count to the left and to the right, joint: how far
# they lie to the left over the tangent plane, beyond: the curvature there (left and right, the nearest
# first). floor_curvature, floor_joints, surface_heading, lean (share of the inclination that reaches the
# tyre), transfer (share of the lateral forces' overturning moment) and crab (share of the sideslip that
# surface, wind and gravity see) differ from curvature, joints, heading, 1, 1 and 1 only where a what-if
# question takes a cause away.
CASE = layout(
    one="roll_angle along heading speed acceleration path_curvature turn_curvature yaw_acceleration headwind "
    "crosswind slope surface_grip air_density curvature floor_curvature surface_heading lean transfer crab",
    wheels="bump",
    more=(
        ("joints", "f8", (2,)),
        ("floor_joints", "f8", (2,)),
        ("joint", "f8", (2, JOINTS)),
        ("beyond", "f8", (2, JOINTS)),
    ),
)

# An answer. state: the trim's unknowns; fold: those at the least friction factor; null: how the factor there
# answers to each row (left null vector). friction_factor: that least factor, lambda. press: extra press in g
# that would hold a lost case, else 0. contact: whether there is a trim at full friction or above it (a car
# that slides has one above). margin: 1 - lambda, not a number where contact is lost; search_margin: the
# margin, or a finite value with a slope towards contact. use, spare, load, grip and all the rest: of the trim
# at full friction, or where the car slides of the trim at lambda. limiting: axle that saturates at lambda.
# lift: how far the tread is off the surface, m, 0 where it touches.
# bend: how the factor bends along the path at a fold, per square of arc length; 0 at other ends.
# clearance: least gap of the named points, infinite without points; spare_clearance: least of gap minus the
# gap required. growth: rate at which the car leaves the trim, 1/s, where it was asked for. effort:
# evaluations of the balance.
ANSWER = layout(
    one="margin search_margin friction_factor press clearance spare_clearance downforce drag balance "
    "limiting growth bend",
    axles="use ride_gap",
    wheels="load grip inclination patch travel slip_angle lift",
    more=(
        ("state", "f8", (UNKNOWNS,)),
        ("fold", "f8", (UNKNOWNS,)),
        ("null", "f8", (UNKNOWNS,)),
        ("contact", "?"),
        ("slides", "?"),
        ("effort", "i8"),
    ),
)
