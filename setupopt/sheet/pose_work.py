"""Camber and ride heights: how the car stands on the pad."""

from __future__ import annotations

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.sheet.adjusters import AxleTools
from setupopt.sheet.build import changed, with_changes
from setupopt.sheet.car_work import DRIVER
from setupopt.sheet.places import Place, places
from setupopt.sheet.steps import wheels_of
from setupopt.sheet.work import Work
from setupopt.units import DEG, MM

# A smaller difference than tape and camber gauge can read counts as none.
_TAPE = 5e-5  # m
_THIN = 1e-4  # m of shims
_GAUGE = 0.005 * DEG  # rad


def cambers(work: Work) -> None:
    """Shims of every wheel, so that the gauge reads as wanted once the ride heights are."""
    wanted = work.four(work.target, "camber")
    moves = _camber_moves(work, wanted)
    for place in places(moves, wanted, work.reading.camber):
        _camber(work, place, float(moves[place.wheel]))


def _camber_moves(work: Work, wanted: Floats) -> Floats:
    """Changes of camber, rad, so that the gauge reads `wanted` with the target's ride heights."""
    by = np.zeros(4)
    for _ in range(4):
        tried = changed(work.stance, camber=work.stance.camber + by)
        moves = work.pad.perch_moves(tried, work.target)
        reading = work.pad.reading(changed(tried, perch=tried.perch + moves))
        by = by + wanted - reading.camber
    return by


def _camber(work: Work, place: Place, exact: float) -> None:
    """Shims of one wheel, or of both of an axle."""
    tools = work.tools[place.axle]
    lacking = tools.lacking(exact)
    if lacking > _THIN:
        work.leave(
            f"{place.name} camber: {lacking / MM:.1f} mm more to take out than are fitted"
        )
    shims = tools.shims_for(exact)
    by = tools.camber_of(shims, exact)
    if by == 0.0:
        if abs(exact) > _GAUGE:
            least = (
                f"{exact / DEG:+.3f} deg is less than half of the thinnest shim"
            )
            work.leave(f"{place.name} camber: {least}")
        return
    before = work.reading.camber[place.wheel] / DEG
    to = f"{place.title} camber {before:.2f} -> {before + by / DEG:.2f} deg"
    unit = tools.per_unit(tools.camber_unit)
    work.add(
        "camber",
        f"{to}: {tools.shim_words(shims, by, place.each)}",
        place.where,
        round(by / unit, 6),
        tools.camber_unit,
        exact=exact / unit,
        shims=tuple((round(size / MM, 6), count) for size, count in shims),
        asks_stack=tools.per_shim is not None and tools.fitted is None,
    )


def ride_heights(work: Work) -> None:
    """Perches or push-rods of the four corners, so that ride heights and cross weight are as wanted."""
    moves = work.pad.perch_moves(work.stance, work.target)
    for place in places(moves):
        tools = work.tools[place.axle]
        exact = float(moves[place.wheel])
        if tools.perch_amount(exact):
            _ride_height(work, place, exact, tools)
        elif abs(exact) > _TAPE:
            least = "a flat" if tools.turn else "0.1 mm"
            work.leave(
                f"{place.name} ride height: {exact / MM:+.2f} mm wanted, less than half of {least}"
            )


def _ride_height(
    work: Work, place: Place, exact: float, tools: AxleTools
) -> None:
    """One corner, or both of an axle; the driver gets in before the first one."""
    amount = tools.perch_amount(exact)
    wheels = wheels_of(place.where)
    raised = with_changes(work.stance, "perch", wheels, tools.raised(amount))
    before, after = (
        np.mean(reading.side_height[list(wheels)]) / MM
        for reading in (work.reading, work.pad.reading(raised))
    )
    way = "Raise" if tools.raised(amount) > 0.0 else "Lower"
    what = (
        f"{way} the {place.name} by {tools.perch_words(amount)} {place.each}: the {place.name} then "
        f"reads {before:.1f} -> {after:.1f} mm"
    )
    work.add(
        "ride height",
        what,
        place.where,
        amount,
        tools.perch_unit,
        exact=tools.in_units(exact),
        points=()
        if work.has("ride height")
        else (f"First: {DRIVER[0].lower()}{DRIVER[1:]}",),
    )
