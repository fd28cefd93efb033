"""The car as a setup sets it: wing angles, ballast, brake and drive split, cross weight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from setupopt.project.model import (
    Air,
    AirElement,
    BalanceSetup,
    Ballast,
    Car,
    Setup,
)


def car_as_set(car: Car, setup: Setup) -> Car:
    """The car of a project with everything that the setup sets and its wheels do not have."""
    return as_set(
        car, setup.balance, [angle for _, angle in setup.wings], setup.ballast
    )


def wings_of(air: Air) -> dict[str, AirElement]:
    """The elements that have settings, by name, in the order of the file."""
    return {e.name: e for e in air.elements if e.settings}


def wing_names(air: Air) -> tuple[str, ...]:
    """The elements that have settings, in the order of a setup's `wings`."""
    return tuple(sorted(wings_of(air)))


def as_set(
    car: Car,
    balance: BalanceSetup,
    angles: Sequence[float],
    ballast: Sequence[Ballast],
) -> Car:
    """The car with its shares, the `angles` of its wings in the order of `wing_names`, and with ballast.

    What is None or left out is as car.toml says.
    """
    given = {name: getattr(balance, name) for name in BalanceSetup.__slots__}
    shares = {name: value for name, value in given.items() if value is not None}
    air = with_wings(
        car.air, dict(zip(wing_names(car.air), angles, strict=False))
    )
    return _loaded(replace(car, air=air, **shares), ballast)


def with_wings(air: Air, angles: dict[str, float]) -> Air:
    """The air loads with elements at other angles; the drag of the whole body follows."""
    elements = tuple(
        at_angle(e, angles[e.name]) if e.name in angles else e
        for e in air.elements
    )
    pairs = zip(elements, air.elements, strict=True)
    more = sum(
        (new.drag_area or 0.0) - (old.drag_area or 0.0) for new, old in pairs
    )
    return replace(air, elements=elements, drag_area=air.drag_area + more)


def at_angle(element: AirElement, angle: float) -> AirElement:
    """The element at an angle between those measured, which stay as they are.

    Piecewise cubic, without overshoot (F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980)
    238-246). Nothing is read beyond the measured angles: the nearest one counts there.
    """
    rows = element.settings
    if not rows:
        return element
    at = min(max(angle, rows[0].angle), rows[-1].angle)

    def read(name: str) -> float:
        values = [getattr(row, name) for row in rows]
        if len(rows) == 1:
            return float(values[0])
        from scipy.interpolate import (
            PchipInterpolator,
        )  # here, because few cars need it

        return float(PchipInterpolator([row.angle for row in rows], values)(at))

    found: dict[str, Any] = {
        name: read(name) for name in ("free_area", "ground_area", "peak_gap")
    }
    if all(row.drag_area is not None for row in rows):
        found["drag_area"] = read("drag_area")
    return replace(element, **found)


def _loaded(car: Car, ballast: Sequence[Ballast]) -> Car:
    """The car with more mass: where the weight stands, and the inertias about the new CG (Steiner)."""
    for piece in ballast:
        if piece.mass == 0.0:
            continue
        mass = car.mass + piece.mass
        share = piece.mass / mass
        station = (1.0 - car.front_share) * car.wheelbase
        track = 0.5 * (car.front.track + car.rear.track)
        ahead = station - piece.station
        left = piece.side - (car.left_share - 0.5) * track
        up = piece.height - car.cg_height
        reduced = car.mass * share
        car = replace(
            car,
            mass=mass,
            front_share=car.front_share + share * ahead / car.wheelbase,
            left_share=car.left_share + share * left / track,
            cg_height=car.cg_height + share * up,
            roll_inertia=_more(car.roll_inertia, reduced * (left**2 + up**2)),
            pitch_inertia=_more(
                car.pitch_inertia, reduced * (ahead**2 + up**2)
            ),
            yaw_inertia=_more(car.yaw_inertia, reduced * (ahead**2 + left**2)),
        )
    return car


def _more(inertia: float | None, added: float) -> float | None:
    return None if inertia is None else inertia + added
