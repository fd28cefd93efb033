"""What no single entry shows to be wrong, but several together do. Refusals, not cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from setupopt.project.bodies import OWN, file_name, with_bodywork
from setupopt.project.car_as_set import car_as_set, wing_names, wings_of
from setupopt.project.limits_model import Limits
from setupopt.project.model import Body, Car, Setup, Venue
from setupopt.project.static_checks import (
    axles,
    corners,
    penetration,
    unsprung_mass,
    widest,
)
from setupopt.project.toml_positions import Loc, quoted
from setupopt.units import DEG, MM

ROOM = 0.9  # of the section's radius that the car may reach; beyond, the surface is nearly upright
DEEPEST = 0.4  # of a tyre's radius, pressed in at rest: no tyre is that soft
TWIST = 0.002  # m at the wheels that ride heights may twist a floor, which bends by less


class Finding(NamedTuple):
    """A mistake at `loc` of the file `file` ("car", "venue", "setup" or "limits")."""

    file: str
    loc: Loc
    expected: str


def refusals(
    car: Car,
    venue: Venue,
    setup: Setup,
    bodies: Sequence[Body] = (),
    limits: Limits | None = None,
) -> list[Finding]:
    """Everything that contradicts itself, in the order of the files; `bodies`: what `car` wears instead."""
    set_car = car_as_set(car, setup)
    found = [
        *_masses(set_car),
        *_tyres(set_car, setup),
        *_room_in_section(car, venue, "the car"),
    ]
    found += [*_settings(car, setup), *_floor(car, setup)]
    for body in bodies:
        if wing_names(body.air) != wing_names(car.air):
            expected = f"settings of the same elements as in {OWN}, because a setup gives their angles"
            found.append(
                Finding(file_name(body.name), ("air", "element"), expected)
            )
    found += _sweep_on_section(venue)
    for body in bodies:
        found += _room_in_section(
            with_bodywork(car, body),
            venue,
            f"the car with {file_name(body.name)}",
        )
    if limits is not None:
        found += _attitudes_of_limits(venue, limits)
        found += _settings_of_limits(car, setup, limits)
    return found


def _attitudes_of_limits(venue: Venue, limits: Limits) -> Iterator[Finding]:
    """A limit of one attitude names one of venue.toml."""
    names = [attitude.name for attitude in venue.attitudes]
    known = ", ".join(f'"{name}"' for name in names[:20])
    for number, load in enumerate(limits.packaging.wheel_loads):
        if load.attitude not in names:
            loc = ("packaging", "wheel_load", number, "attitude")
            yield Finding("limits", loc, f"an attitude of venue.toml: {known}")


def _masses(car: Car) -> Iterator[Finding]:
    unsprung = unsprung_mass(car)
    sprung = car.mass - unsprung
    if sprung <= 0:
        yield Finding(
            "car",
            ("car", "mass_kg"),
            f"more than the unsprung masses, together {unsprung:g} kg",
        )
        return
    carried = 2.0 * sum(
        axle.unsprung_mass * axle.unsprung_height for _, axle, _ in axles(car)
    )
    if car.mass * car.cg_height <= carried:
        least = carried / car.mass / MM
        expected = f"more than {least:.4g} mm, or the sprung mass has its CG below the road"
        yield Finding("car", ("car", "cg_height_mm"), expected)


def _tyres(car: Car, setup: Setup) -> Iterator[Finding]:
    for name, _, tyre, load, camber, pressure in corners(car, setup):
        if load <= 0.0:
            expected = "shares of the weight that load all four wheels at rest"
            yield Finding(
                "setup", ("balance", "cross_weight_percent"), expected
            )
        elif penetration(tyre, load, camber, pressure) > DEEPEST * tyre.radius:
            expected = f"a tyre that carries the {load:.0f} N of a {name} corner at the pressure of the setup"
            yield Finding(
                "car", ("tyre", tyre.name, "foundation_N_per_mm3"), expected
            )


def _settings(car: Car, setup: Setup) -> Iterator[Finding]:
    """Wings that are set, and how: each that has settings, inside what was measured."""
    wings = dict(setup.wings)
    elements = wings_of(car.air)
    for name in wings:
        if name not in elements:
            known = ", ".join(map(quoted, elements)) or "there is none"
            yield Finding(
                "setup",
                ("wings", name),
                f"an air element with settings: {known}",
            )
    for name, element in elements.items():
        low = element.settings[0].angle
        high = element.settings[-1].angle
        if name not in wings or not low - 1e-9 <= wings[name] <= high + 1e-9:
            loc = ("wings", name) if name in wings else ("wings",)
            expected = f"an angle of {quoted(name)} from {low / DEG:g} to {high / DEG:g} deg, as measured"
            yield Finding("setup", loc, expected)


def _floor(car: Car, setup: Setup) -> Iterator[Finding]:
    """Four ride heights lie under one rigid floor."""
    front, rear = (
        axle.sides("ride_height") for axle in (setup.front, setup.rear)
    )
    twist = abs(floor_twist(car, (*front, *rear)))
    if twist > TWIST:
        expected = f"ride heights that twist the floor by at most {TWIST / MM:g} mm, not {twist / MM:.1f} mm"
        yield Finding("setup", ("front",), expected)


def floor_twist(car: Car, heights: Any) -> Any:
    """By how much ride heights FL, FR, RL, RR twist the floor from front to rear, m at the wheels.

    Positive where the front is the higher one on the left. Each height may be an array.
    """
    front = (heights[0] - heights[1]) / car.front.track
    rear = (heights[2] - heights[3]) / car.rear.track
    return (front - rear) * 0.5 * (car.front.track + car.rear.track)


def _settings_of_limits(
    car: Car, setup: Setup, limits: Limits
) -> Iterator[Finding]:
    """Ranges of wings and ballast belong to what there is, and stay inside what was measured."""
    elements = wings_of(car.air)
    for name, span in limits.wings:
        rows = elements[name].settings if name in elements else ()
        if (
            not rows
            or span.lower < rows[0].angle - 1e-9
            or span.upper > rows[-1].angle + 1e-9
        ):
            measured = (
                f", from {rows[0].angle / DEG:g} to {rows[-1].angle / DEG:g} deg"
                if rows
                else ""
            )
            yield Finding(
                "limits",
                ("wings", name),
                f"an air element with settings{measured}",
            )
    pieces = {piece.name for piece in setup.ballast}
    for number, (name, _) in enumerate(limits.ballast):
        if name not in pieces:
            expected = f"a piece of ballast of setup.toml: {', '.join(map(quoted, sorted(pieces))) or 'none'}"
            yield Finding("limits", ("ballast", number, "name"), expected)


def _room_in_section(car: Car, venue: Venue, who: str) -> Iterator[Finding]:
    reached = widest(car, venue)
    if reached * venue.curvature > ROOM:
        least = reached / ROOM / MM
        expected = f"at least {least:.0f} mm, so that {who} fits in at the headings driven"
        yield Finding("venue", _tightest(venue), expected)
    if venue.profile is not None and reached > venue.profile.sight:
        expected = f"longer parts, or less heading: {who} reaches {reached / MM:.0f} mm round it, and "
        expected += f"{venue.profile.seen} joints to each side are seen, here {venue.profile.sight / MM:.0f} mm"
        yield Finding("venue", ("section",), expected)


def _tightest(venue: Venue) -> Loc:
    """The key of the radius that is too small."""
    if venue.profile is None:
        return ("venue", "radius_mm")
    if venue.section == "survey":
        return ("section", "survey")
    bends = venue.profile.curvatures
    part = max(range(len(bends)), key=lambda number: abs(bends[number]))
    return ("section", "part", part, "radius_mm")


def _sweep_on_section(venue: Venue) -> Iterator[Finding]:
    """What is swept must be there."""
    section = venue.profile
    sweep = venue.sweep
    if section is None:
        return
    if sweep.along is not None and sweep.along[1] > section.length + 1e-6:
        yield Finding(
            "venue",
            ("sweep", "along_mm", "to"),
            f"at most {section.length / MM:.1f} mm, the section's end",
        )
    if sweep.along is None and section.stretch(sweep.start, sweep.stop) is None:
        low = section.end_angles.min() / DEG
        high = section.end_angles.max() / DEG
        yield Finding(
            "venue",
            ("sweep", "roll_angles_deg"),
            f"some of the section's {low:.4g} to {high:.4g} deg",
        )
