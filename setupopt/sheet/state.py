"""What a car state is on paper: every quantity with its target at the four corners, tolerance and place."""

from __future__ import annotations

from dataclasses import dataclass

from setupopt.evaluation.pack import vehicle
from setupopt.project.model import AXLES, Project, Setup, Tolerance
from setupopt.project.settings import SETTINGS, in_file_units
from setupopt.units import BAR, DEG, GRAVITY, MM, PERCENT

_PER_AXLE = ("toe", "anti_roll", "third")


@dataclass(frozen=True)
class Line:
    """One quantity: targets FL, FR, RL, RR in `unit`; of an axle the left one, the right one is None."""

    quantity: str  # as in the file that `readback` reads
    words: str
    unit: str
    digits: int
    values: tuple[float | None, float | None, float | None, float | None]
    tolerance: str  # with its unit, empty where none is given
    where: str  # how and where it is measured


def state_lines(project: Project, setup: Setup) -> tuple[Line, ...]:
    """All quantities of a setup, in the order in which they are set; corner weights at last."""
    held = project.limits.tolerance if project.limits else None
    settings = {setting.field: setting for setting in SETTINGS}
    lines = []
    for field, (words, digits) in _WORDS.items():
        setting = settings[field]
        front, rear = (in_file_units(getattr(setup, axle), setting) for axle in AXLES)
        if field == "third" and front == rear == 0.0:
            continue
        side = (None, None) if field in _PER_AXLE else (front, rear)
        values = (front, side[0], rear, side[1])
        tolerance = _tolerance(field, held)
        where = _where(project, field)
        lines.append(Line(setting.key, words, setting.unit, digits, values, tolerance, where))
    return (*lines, _weights(project))


_WORDS = {
    "pressure": ("hot pressure", 2),
    "spring": ("spring", 0),
    "ride_height": ("ride height", 1),
    "camber": ("camber", 2),
    "toe": ("toe", 1),
    "anti_roll": ("anti-roll bar, at the wheel", 0),
    "third": ("third spring (heave spring)", 0),
}


def _weights(project: Project) -> Line:
    """Corner weights that the scales should show: half of the axle's share each."""
    loads = vehicle(project.car)[0]["static_load"][0] / GRAVITY
    fl, fr, rl, rr = (round(float(load), 3) for load in loads)
    where = f"scales, driver aboard; {project.car.mass:g} kg in all, cross weight 50 %"
    return Line("corner_weight_kg", "corner weight", "kg", 1, (fl, fr, rl, rr), "", where)


def _tolerance(field: str, held: Tolerance | None) -> str:
    if held is None:
        return ""
    known = {
        "camber": f"{held.camber / DEG:.3g} deg",
        "ride_height": f"{held.ride_height / MM:.3g} mm",
        "spring": f"{held.spring_share / PERCENT:.3g} %",
        "pressure": f"{held.pressure / BAR:.3g} bar",
    }
    return known.get(field, "")


def _where(project: Project, field: str) -> str:
    air = project.car.air
    front = air.front_ride_station / MM
    rear = air.rear_ride_station / MM
    places = {
        "pressure": "gauge, as run; note the cold value that warms up to it",
        "spring": "rate stamped on the spring",
        "ride_height": f"floor line, {front:g} mm and {rear:g} mm behind the front axle line",
        "camber": "gauge on the wheel, car level on the pad",
        "toe": f"toe-in of one wheel, over {project.car.front.toe_over / MM:g} mm in front, "
        f"{project.car.rear.toe_over / MM:g} mm behind",
        "anti_roll": "position of the bar; connect it last, without preload",
        "third": "rate stamped on the spring",
    }
    return places[field]
