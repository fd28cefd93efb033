"""What slip, the clamp of the friction and tread and carcass in series change in a proposal, as tables.

`python tests/benchmarks/slip_tables.py` prints the tables of docs/what-slip-changes.md in some minutes. The
bore example is proposed for with and without each; every margin is by the model as it is.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import setupopt
from setupopt.evaluation.cases import sweep_cases
from setupopt.evaluation.model import Model, evaluate
from setupopt.evaluation.result import Result
from setupopt.evaluation.summary import wheels_in_air
from setupopt.evaluation.variables import slots
from setupopt.project.limits_model import AttitudeLoad
from setupopt.project.model import AxleSetup, Car, Project, Setup, Tyre
from setupopt.units import BAR, DEG, MM, N_PER_MM

EXAMPLE = Path(__file__).resolve().parents[2] / "setups" / "bore"
# What release 0.1 proposed for this example, by its law without slip
BEFORE = Setup(
    "proposed by release 0.1",
    AxleSetup(
        -7.1 * DEG,
        28.0 * MM,
        200.0 * N_PER_MM,
        10.0 * N_PER_MM,
        0.0,
        1.2 * BAR,
        -1.0 * MM,
    ),
    AxleSetup(
        -7.2 * DEG,
        36.5 * MM,
        200.0 * N_PER_MM,
        60.0 * N_PER_MM,
        0.0,
        1.2 * BAR,
        1.5 * MM,
    ),
    "long-floor",
)
# One spring in place of two: the tyres of that release, N/m3 and N/m3 per Pa
ONE_SPRING = {"front": (0.006, 0.016), "rear": (0.006, 0.015)}
SHARE = 0.3
RELEASED = Path(__file__).resolve().parents[1] / "reference" / "data" / "bore"
TOE = "toe_mm = { from = -4, to = 4, step = 0.5 }\n"
BALANCE = """
[balance]
brake_front_percent = { from = 45, to = 70, step = 1 }
drive_front_percent = { from = 20, to = 70, step = 1 }
cross_weight_percent = { from = 40, to = 60, step = 0.5 }
"""
SIDES = ("left", "right")
SIDE = """
[{}.{}]
camber_deg = {{ from = -9, to = 0, step = 0.1 }}
ride_height_mm = {{ from = 28, to = 70, step = 0.5 }}
pressure_bar = {{ from = 1.2, to = 2.0, step = 0.05 }}
springs_N_per_mm = [60, 80, 100, 120, 140, 160, 180, 200]
toe_mm = {{ from = -4, to = 4, step = 0.5 }}
"""


def one_spring(car: Car) -> Car:
    """The car on tyres whose tread lies on a rigid carcass."""

    def on(name: str, tyre: Tyre) -> Tyre:
        foundation, per_bar = ONE_SPRING[name]
        return replace(
            tyre, carcass=0.0, carcass_per_pressure=0.0, foundation=foundation * 1e9,
            foundation_per_pressure=per_bar * 1e9 / BAR,
        )  # fmt: skip

    return _tyres(car, on)


def unclamped(car: Car) -> Car:
    """The car on tyres whose friction grows without end where the pressure falls."""
    return _tyres(
        car, lambda _, tyre: replace(tyre, friction_least_pressure=0.0)
    )


def _tyres(car: Car, change: Callable[[str, Tyre], Tyre]) -> Car:
    """The car on changed tyres; `change` takes the axle's name."""
    front, rear = (
        replace(axle, tyre=change(name, axle.tyre))
        for name, axle in (("front", car.front), ("rear", car.rear))
    )
    return replace(car, front=front, rear=rear)


def proposed(project: Project, starts: int = 1) -> Setup:
    """One search or more, no alternatives."""
    options = setupopt.ProposalOptions(starts=starts, loss=0.0)
    return setupopt.propose(project, options).setup


def row(name: str, cells: Sequence[object]) -> str:
    """A line of a table."""
    return f"| {name} | {' | '.join(map(str, cells))} |"


def in_air(project: Project, result: Result) -> str:
    """Attitudes in which a wheel carries less than 1 % of a quarter of the car."""
    found = {line.attitude for line in wheels_in_air(result)}
    return ", ".join(sorted(found)) or "none"


def puncture(project: Project, setup: Setup, wheel: int) -> float:
    """Worst margin with foundation and carcass of one tyre down to a share."""
    model = Model(project.car)
    settings = model.settings(setup)
    for name in ("foundation", "carcass"):
        settings[name][0, wheel] *= SHARE
    return float(
        model.run(settings, sweep_cases(project.venue)).worst_margin[0]
    )


def as_released(folder: Path, is_free: bool, four_down: bool) -> Project:
    """The car of release 0.1 at 50 m/s, in the attitudes and ranges of the example.

    `is_free`: toe, balance and cross weight have ranges; `four_down`: four wheels stay down without a bump, each
    side has ranges of its own, and no wheel arch limits the travel that this takes.
    """
    shutil.copytree(RELEASED, folder)
    (folder / "bodies").mkdir()
    (folder / "long-floor.toml").rename(folder / "bodies" / "long-floor.toml")
    attitudes = setupopt.load(EXAMPLE).venue.attitudes
    limits = (EXAMPLE / "limits.toml").read_text(encoding="utf-8")
    if is_free:
        for axle in ("front", "rear"):
            limits = limits.replace(f"[{axle}]\n", f"[{axle}]\n{TOE}", 1)
            if four_down:
                limits += "".join(SIDE.format(axle, side) for side in SIDES)
        limits += BALANCE
    (folder / "limits.toml").write_text(limits, encoding="utf-8")
    project = setupopt.load(folder)
    assert project.limits is not None
    smooth = [attitude.name for attitude in attitudes if not any(attitude.bump)]
    loads = [AttitudeLoad(name, 14.0) for name in smooth if four_down]
    packaging = replace(project.limits.packaging, wheel_loads=tuple(loads))
    if four_down:
        packaging = replace(packaging, arches=())
    return replace(
        project,
        venue=replace(project.venue, attitudes=attitudes),
        limits=replace(project.limits, packaging=packaging),
    )


def under_old_conditions() -> None:
    """Print worst margins by attitude of what is proposed, with more ranges and with four wheels down."""
    with tempfile.TemporaryDirectory() as home:
        asked = {
            "proposed today": as_released(Path(home) / "1", False, False),
            "toe and balance free": as_released(Path(home) / "2", True, False),
            "sides too, no arches, four wheels down": as_released(
                Path(home) / "3", True, True
            ),
        }
    plain = asked["proposed today"]
    flat = replace(BEFORE, front=replace(BEFORE.front, toe=0.0))
    flat = replace(flat, rear=replace(BEFORE.rear, toe=0.0))
    names = [attitude.name for attitude in plain.venue.attitudes]
    print(row("setup", [*names, "worst", "attitudes with a wheel in the air"]))
    setups = {"as last raced": plain.setup, "proposed by release 0.1": flat}
    for name, project in asked.items():
        setups[name] = proposed(project, 1 if project is plain else 2)
    for name, setup in setups.items():
        result = evaluate(plain, setup)
        margins = result.margin[0].reshape(len(names), -1).min(axis=1)
        cells = [f"{m:.3f}" for m in (*margins, margins.min())]
        print(row(name, [*cells, in_air(plain, result)]))


def main() -> None:
    """Print all tables."""
    under_old_conditions()
    project = setupopt.load(EXAMPLE)
    cars = {
        "as the example has it": project.car,
        "friction without a least pressure": unclamped(project.car),
        "one spring: a rigid carcass": one_spring(project.car),
        "neither": unclamped(one_spring(project.car)),
    }
    setups = {
        name: proposed(replace(project, car=car)) for name, car in cars.items()
    }
    own = setups["as the example has it"]
    print(row("setup", ["worst margin", "attitudes with a wheel in the air"]))
    for setup in (project.setup, BEFORE, own):
        result = evaluate(project, setup)
        print(
            row(
                setup.name,
                [f"{result.worst_margin[0]:.3f}", in_air(project, result)],
            )
        )
    print()
    print(row("setting", ["unit", *setups]))
    for slot in slots(list(setups.values())):
        print(
            row(
                slot.name,
                [
                    slot.setting.unit,
                    *(slot.value(setup) for setup in setups.values()),
                ],
            )
        )
    margins = [
        float(evaluate(replace(project, car=cars[n]), s).worst_margin[0])
        for n, s in setups.items()
    ]
    print(
        row("worst margin by its own car", ["", *(f"{m:.3f}" for m in margins)])
    )
    print()
    print(row("tyres", ["no puncture", "FL", "FR", "RL", "RR"]))
    for name, car in cars.items():
        its = replace(project, car=car)
        whole = float(evaluate(its, project.setup).worst_margin[0])
        print(
            row(
                name,
                [
                    f"{m:.3f}"
                    for m in (
                        whole,
                        *(puncture(its, project.setup, w) for w in range(4)),
                    )
                ],
            )
        )


if __name__ == "__main__":
    main()
