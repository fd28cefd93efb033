"""What no single entry shows to be wrong, but several together do. Refusals, not cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from setupopt.project.bodies import file_name, with_bodywork
from setupopt.project.model import AxleSetup, Body, Car, Limits, Setup, Venue
from setupopt.project.static_checks import axles, corner_load, penetration, plan_points, reach, unsprung_mass
from setupopt.project.toml_positions import Loc
from setupopt.units import DEG, MM

ROOM = 0.9  # of the section's radius that the car may reach; beyond, the surface is nearly upright
DEEPEST = 0.4  # of a tyre's radius, pressed in at rest: no tyre is that soft


class Finding(NamedTuple):
    """A mistake at `loc` of the file `file` ("car", "venue", "setup" or "limits")."""

    file: str
    loc: Loc
    expected: str


def refusals(
    car: Car, venue: Venue, setup: Setup, bodies: Sequence[Body] = (), limits: Limits | None = None
) -> list[Finding]:
    """Everything that contradicts itself, in the order of the files; `bodies`: what `car` wears instead."""
    found = [*_masses(car), *_tyres(car, setup), *_room_in_section(car, venue, "the car")]
    found += _sweep_on_section(venue)
    for body in bodies:
        found += _room_in_section(with_bodywork(car, body), venue, f"the car with {file_name(body.name)}")
    if limits is not None:
        found += _attitudes_of_limits(venue, limits)
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
        yield Finding("car", ("car", "mass_kg"), f"more than the unsprung masses, together {unsprung:g} kg")
        return
    carried = 2.0 * sum(axle.unsprung_mass * axle.unsprung_height for _, axle, _ in axles(car))
    if car.mass * car.cg_height <= carried:
        least = carried / car.mass / MM
        expected = f"more than {least:.4g} mm, or the sprung mass has its CG below the road"
        yield Finding("car", ("car", "cg_height_mm"), expected)


def _tyres(car: Car, setup: Setup) -> Iterator[Finding]:
    for name, axle, share in axles(car):
        today: AxleSetup = getattr(setup, name)
        load = corner_load(car, share)
        if penetration(axle.tyre, load, today.camber, today.pressure) > DEEPEST * axle.tyre.radius:
            expected = f"a tyre that carries the {load:.0f} N of a {name} corner at the pressure of the setup"
            yield Finding("car", ("tyre", axle.tyre.name, "foundation_N_per_mm3"), expected)


def _room_in_section(car: Car, venue: Venue, who: str) -> Iterator[Finding]:
    points = plan_points(car)
    widest = max(reach(points, attitude.heading) for attitude in venue.attitudes)
    if widest * venue.curvature > ROOM:
        least = widest / ROOM / MM
        expected = f"at least {least:.0f} mm, so that {who} fits in at the headings driven"
        yield Finding("venue", _tightest(venue), expected)
    if venue.profile is not None and widest > venue.profile.sight:
        expected = f"longer parts, or less heading: {who} reaches {widest / MM:.0f} mm round it, and "
        expected += (
            f"{venue.profile.seen} joints to each side are seen, here {venue.profile.sight / MM:.0f} mm"
        )
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
            "venue", ("sweep", "along_mm", "to"), f"at most {section.length / MM:.1f} mm, the section's end"
        )
    if sweep.along is None and section.stretch(sweep.start, sweep.stop) is None:
        low = section.end_angles.min() / DEG
        high = section.end_angles.max() / DEG
        yield Finding(
            "venue", ("sweep", "roll_angles_deg"), f"some of the section's {low:.4g} to {high:.4g} deg"
        )
