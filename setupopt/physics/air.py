"""Air loads: downforce strip by strip from the gap under each, and the side force."""

from __future__ import annotations

from math import exp

from setupopt.physics import surface
from setupopt.physics.case_state import floor_height
from setupopt.physics.inputs import (
    STRIPS_ACROSS,
    STRIPS_ALONG,
    Floats,
    Record,
    Records,
)
from setupopt.physics.jit import kernel
from setupopt.physics.linear import clear

# Rows of the loads: downforce, N; roll and pitch moment, N m. Columns: value, then slopes by heave, pitch,
# roll and sideslip.
LOADS = 3
COLUMNS = 5


@kernel
def side_force(car: Record, state: Record) -> float:
    """Side force, N, to the left; its slope by the flow's angle is `side_force_slope`."""
    return -state.pressure * car.side_area * state.flow


@kernel
def downforce(
    car: Record, elements: Records, setup: Record, case: Record, state: Record, road: Records, x: Floats,
    loads: Floats, has_slopes: bool = True,
) -> None:  # fmt: skip
    """Downforce and its roll and pitch moments with their slopes, into `loads` (LOADS, COLUMNS).

    `road`: the road's unevenness under every element. A strip's downforce is q / (1 + yaw_loss angle^2) times
    free area + ground area (h/h_peak) exp(1 - h/h_peak), h the gap; docs/model.md, air.
    """
    clear(loads)
    for n in range(elements.size):
        e = elements[n]
        loss = 1.0 + e.yaw_loss * state.flow * state.flow
        pressure = state.pressure / loss
        fade = -2.0 * case.crab * e.yaw_loss * state.flow / loss
        if e.ground == 0.0:
            free = pressure * e.free * STRIPS_ALONG * STRIPS_ACROSS
            _add(e.x, e.y, free, 0.0, 0.0, fade, loads)
            continue
        for i in range(STRIPS_ALONG):
            at = e.x + (i - 1) * e.along
            height = (
                floor_height(car, setup, at, car.middle)
                + e.offset
                + x[0]
                - at * x[1]
                - road[n].height
            )
            for j in range(STRIPS_ACROSS):
                y = e.y + (j - 2) * e.across
                s = at * state.sin_heading + y * state.cos_heading
                ground, slope = surface.under_floor(case, s)
                floor = setup.floor_roll - road[n].slope
                gap = height + y * x[2] + (y - e.y) * floor - ground
                force, rate = _strip(e, gap)
                moved = at * state.cos_heading - y * state.sin_heading
                opened = slope * case.crab * moved
                force *= pressure
                if not has_slopes:
                    loads[0, 0] += force
                    loads[1, 0] -= y * force
                    loads[2, 0] += at * force
                    continue
                rate *= pressure
                _add(at, y, force, rate, opened, fade, loads)


@kernel
def _strip(element: Record, gap: float) -> tuple[float, float]:
    """Downforce of a strip over the pressure, m2, and its slope by the gap."""
    if gap <= 0.0:
        return element.free, 0.0
    decay = element.ground / element.peak * exp(1.0 - gap / element.peak)
    return element.free + decay * gap, decay * (1.0 - gap / element.peak)


@kernel
def _add(
    x: float,
    y: float,
    force: float,
    rate: float,
    opened: float,
    fade: float,
    loads: Floats,
) -> None:
    """Add a strip at x, y: its force, how it grows with the gap, how the gap and the force grow with
    sideslip.
    """
    for row in range(LOADS):
        arm = 1.0 if row == 0 else -y if row == 1 else x
        loads[row, 0] += arm * force
        loads[row, 1] += arm * rate
        loads[row, 2] -= arm * rate * x
        loads[row, 3] += arm * rate * y
        loads[row, 4] += arm * (rate * opened + fade * force)
