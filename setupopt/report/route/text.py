"""A route in words and plain tables."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from setupopt.evaluation.result import Field
from setupopt.project.bodies import worn_words
from setupopt.project.field_types import KMH
from setupopt.report.route.fields import (
    columns,
    escape_fields,
    front_fields,
    marks,
    pieces,
    row_fields,
)
from setupopt.report.route.programme import programme_words
from setupopt.report.shared.tables import (
    Key,
    angle,
    decimals,
    keyed_table,
    margin_words,
    number,
    paragraph,
    words,
)
from setupopt.report.shared.words import (
    CLOSING,
    cautions_text,
    headed,
    lines,
    verdict,
)
from setupopt.route.by_hand import ByHand
from setupopt.route.complete import Route
from setupopt.route.leg import turn_of
from setupopt.route.plan import SHAPES
from setupopt.route.study import RouteStudy
from setupopt.route.way_out import EVENTS
from setupopt.units import DEG

SHAPE_WORDS = {
    "over": "up one side, over the top and down the other side",
    "back": "up, straight at the highest angle, and down on the same side",
    "climb": "up, without the way back",
}
_PIECES = {
    "over": "over the top",
    "hold": "straight",
    "climb": "climb",
    "descent": "descent",
}


def text(route: Route, width: int, short: bool = False) -> str:
    """The whole report, or with `short` verdict and stages alone; lines of at most `width`."""
    study = route.study
    parts = [
        _head(study, width),
        cautions_text(study.project.cautions, width),
        _verdict(study, width),
    ]
    parts += [_spread(route, width), _turns(route, width), _place(route, width)]
    if not short:
        parts += [
            _pieces(study, width),
            _beside(route, width),
            _limits(study, width),
            _marks(route, width),
        ]
    parts += [
        _ways_out(route, width),
        _prices(route, width),
        _map(route, width),
        _front(route, width),
    ]
    parts += [programme_words(route, width), paragraph(CLOSING, width)]
    return "\n\n".join(part for part in parts if part) + "\n"


def _head(study: RouteStudy, width: int) -> str:
    project = study.project
    speed = study.paths.legs[0].speed[0]
    bend = float(turn_of(project.venue))
    turn = f", in a turn of {number(1.0 / bend, 0)} m radius" if bend else ""
    return paragraph(
        f'{project.car.name}{worn_words(project, project.setup.body)}, setup "{project.setup.name}", at '
        f"{project.venue.name}: route to {angle(study.goal.top / DEG)} deg and {study.goal.hold:g} m there, "
        f"entered at {number(speed)} m/s ({number(speed / KMH)} km/h){turn}, in still air",
        width,
    )


def _verdict(study: RouteStudy, width: int) -> str:
    """The least margin, the length, and whether all is kept."""
    row = row_fields(columns(study), int(study.margin.argmin()))
    wanted = study.options.mode
    target = {
        "margin": "Highest margin",
        "length": "Shortest route",
        "speed": "Slowest route",
    }[wanted]
    least = (
        f"at least {study.goal.least_margin:g} required: {verdict(study.holds)}"
    )
    broken = f" Broken: {', '.join(study.broken)}." if study.broken else ""
    return lines(
        [
            f"{target} found: {SHAPE_WORDS[study.paths.shape.name]}.",
            f"Least margin {margin_words(study.margin.min())} after {number(row['way_m'])} m, at "
            f"{angle_1(row['roll_angle_deg'])} deg, heading {angle_1(row['heading_deg'])} deg; {least}.{broken}",
            f"{number(study.length)} m and {number(study.seconds[-1], 2)} s on the section, "
            f"{number(study.paths.held[0])} m of it at {angle(study.goal.top / DEG)} deg or beyond.",
        ],
        width,
    )


def _spread(route: Route, width: int) -> str:
    """The least margin at the worst of the uncertain inputs; nothing where none is uncertain."""
    worst = route.worst
    if worst is None:
        return ""
    low = worst.margin < route.study.goal.least_margin
    inputs = ", ".join(
        f"{'more' if e > 0.0 else 'less'} {name}"
        for name, e in worst.errors.items()
        if e
    )
    said = f"At the worst of [spread] the same route {_margin(worst.margin)}: {inputs or 'the inputs as given'}."
    return lines(
        [
            said,
            "LESS THAN REQUIRED: the route does not stand the spread."
            if low
            else "",
        ],
        width,
    )


def _turns(route: Route, width: int) -> str:
    """What each round of setup and route brought; nothing where the setup was not searched."""
    keys = [
        decimals("route before", "before", 3),
        decimals("setup for it", "setup", 3),
        decimals("route for that", "after", 3),
        words("limits", "holds", verdict),
        words("taken", "taken", lambda taken: "yes" if taken else "no"),
    ]
    head = "Setup and route in turn, least margins; --out writes the setup to route-setup.toml"
    return headed(
        head,
        keyed_table(route.turns, keys, width) if route.turns else "",
        width,
    )


def _pieces(study: RouteStudy, width: int) -> str:
    keys = [
        words("piece", "piece", lambda name: _PIECES[name]),
        decimals("metres", "metres"),
        decimals("seconds", "seconds", 2),
        Key("from deg", "from_deg", angle),
        Key("to deg", "to_deg", angle),
        decimals("least margin", "margin", 3, missing="contact lost"),
        decimals("after m", "at_m", rank=1),
    ]
    return keyed_table(pieces(study, columns(study)), keys, width)


def _place(route: Route, width: int) -> str:
    """The whole place, stage by stage."""
    place = route.place
    keys = [
        words("stage", "name"),
        decimals("metres", "metres"),
        decimals("seconds", "seconds", 2),
        decimals("from m/s", "first_speed"),
        decimals("to m/s", "last_speed"),
        words("decided by", "reason", least=12),
    ]
    total = f"{number(place.metres)} m, {number(place.seconds, 2)} s"
    said = [f"The whole place: {total} from standstill to standstill."]
    if place.missing:
        said.append(f"The run-up is missing in it. {place.missing}")
    if route.study.goal.returns:
        given = (
            ""
            if place.stop_is_given
            else ", assumed because [route] has no stop_m_s2"
        )
        margin = _margin(place.braking_margin)
        said.append(
            f"Braking at {place.stop:g} m/s2{given}: straight on the floor it {margin}."
        )
    return f"{lines(said, width)}\n{keyed_table(place.stages, keys, width)}"


def _ways_out(route: Route, width: int) -> str:
    """What is left at points of the route after an event; nothing where it was not asked for."""
    if not route.escapes:
        return ""
    rows = [escape_fields(route.study, escape) for escape in route.escapes]
    keys = [
        decimals("after m", "way_m", 0),
        Key("deg", "roll_angle_deg", angle_1),
    ]
    for place, event in enumerate(EVENTS):
        head = event.replace(" from the", "")
        shown = partial(_event_words, place)
        keys.append(words(head, "events", shown, least=9))
    keys.append(decimals("stop m", "stopping_m", 0, missing="none"))
    if any(row["flight"] for row in rows):
        keys.append(
            words("contact lost", "flight", _flight_words, least=9, rank=1)
        )
    said = [
        "Ways out, rolling without drive: least margin, metres and seconds to an angle where the car holds "
        "straight along without drive however slow it gets; on: along the route, down: a turn to the floor. "
        "None: no way that was tried keeps the car on the surface. Stop: metres to standstill after a loss "
        "of drive.",
        "Contact lost: seconds until a point mass in free flight meets the surface again, its speed across "
        "it there, and metres along; held: the wall turns towards the car faster than it falls. The real car "
        "turns, touches with one corner first and is not the same after it: these numbers say nothing about "
        "injuries.",
    ]
    return f"{lines(said, width)}\n{keyed_table(rows, keys, width)}"


def _event_words(place: int, events: Sequence[Field]) -> str:
    way = events[place]
    if way["way"] is None:
        return "NONE"
    if way["metres"] == 0.0:
        return "holds here"
    return f"{number(way['margin'], 2)} {way['way']} {number(way['metres'], 0)} m {number(way['seconds'])} s"


def _flight_words(flight: Field | None) -> str:
    if flight is None:
        return "-"
    if flight["seconds"] == 0.0:
        return "held"
    return f"{number(flight['seconds'])} s {number(flight['across'])} m/s {number(flight['along'], 0)} m"


def _prices(route: Route, width: int) -> str:
    if not route.prices:
        return ""
    said = [
        "Prices in length of the shortest route, to first order, all else as found:"
    ]
    for price in route.prices:
        step = f"{price.step:g} {price.unit}".strip()
        found = "none near this route has it"
        if price.metres is not None:
            found = f"{'+' if price.metres >= 0.0 else '-'}{number(abs(price.metres))} m"
        said.append(f"  {step} more {price.what}: {found}")
    return lines(said, width)


def _map(route: Route, width: int) -> str:
    """The front of the map; nothing where it was not asked for."""
    if route.map is None:
        return ""
    keys = [
        decimals("radius m", "row"),
        decimals("m/s", "speed"),
        decimals("least margin", "margin", 3),
        decimals("whole place m", "total", 0),
        decimals("fall m", "fall"),
        decimals("load factor", "load_factor"),
        words("shape", "route", lambda route: SHAPES[int(route[0])]),
    ]
    count = len(route.map.cells)
    head = (
        f"Radius and speed: {count} cells, each with its own best route from a quick search. The front of "
        f"margin and whole length, of those with a margin of {route.map.least_margin:g} or more; fall: "
        "height of the CG over the floor at the top; load factor: what the driver feels, 1 at rest"
    )
    if not route.map.front:
        return paragraph(f"{head}: no cell has it.", width)
    return (
        f"{paragraph(head, width)}\n{keyed_table(route.map.front, keys, width)}"
    )


def _front(route: Route, width: int) -> str:
    """The front of length, speed and margin; nothing where it was not asked for."""
    if route.front is None:
        return ""
    keys = [
        decimals("m/s", "speed_m_s"),
        decimals("longest way m", "length_most_m", 0),
        decimals("least margin", "margin", 3),
        decimals("whole place m", "total_m", 0),
        decimals("0.01 margin more, m", "margin_costs_m", 1, missing="-"),
        decimals("1 m/s more, m", "speed_costs_m", 1, missing="-"),
        words("holds", "holds", verdict),
    ]
    rows = [row for row in front_fields(route.front) or [] if row["on_front"]]
    head = (
        "The front of length, speed and margin: no other way of the grid is as short and as slow with as much "
        "margin. More margin at the same speed, and more speed at the same margin, cost metres of way"
    )
    return headed(head, keyed_table(rows, keys, width), width)


def _beside(route: Route, width: int) -> str:
    """The route beside simpler ways, and the shapes that were compared."""
    study = route.study
    top = angle(study.goal.top / DEG)
    straight = _margin(study.straight)
    said = [
        f"Beside it, at the same speed: straight running at {top} deg {straight}.",
        _by_hand(route.by_hand, top) if route.by_hand else "",
    ]
    for name, first in study.firsts.items():
        if first is None:
            said.append(
                f"{SHAPE_WORDS[name].capitalize()}: no way on the table of margins keeps contact."
            )
        else:
            said.append(
                f"{SHAPE_WORDS[name].capitalize()}: margin {number(first.margin, 3)} in "
                f"{number(first.length)} m on the table of margins, before the search. Straight along where its "
                f"pieces begin and end {_margin(first.straight)}, which no route exceeds."
            )
    return lines(said, width)


def _by_hand(found: ByHand, top: str) -> str:
    """The way that a driver finds by hand, and the route's own up to the same angle."""
    return (
        f"By hand, a ramp of {number(found.ramp)} m and then a heading of {angle(found.heading / DEG)} deg up to "
        f"{top} deg: {number(found.length)} m, {_margin(found.margin)}; without its ramp it "
        f"{_margin(found.steady)}. The route found: {number(found.route_length)} m up to there, it "
        f"{_margin(found.route_margin)}."
    )


def _margin(value: float) -> str:
    return (
        "loses contact"
        if value == -float("inf")
        else f"has a margin of {number(value, 3)}"
    )


def _limits(study: RouteStudy, width: int) -> str:
    rows: list[Field] = [
        {
            "limit": name,
            "room": float(row.min()),
            "kept": verdict(name not in study.broken),
        }
        for name, row in study.room.items()
    ]
    if not rows:
        return ""
    keys = [
        words("limit", "limit"),
        decimals("room, share of it", "room", 3),
        words("kept", "kept"),
    ]
    head = f"Limits at {len(study.margin)} points, {10} times as many as the search used"
    return f"{paragraph(head, width)}\n{keyed_table(rows, keys, width)}"


def _marks(route: Route, width: int) -> str:
    rows = marks(route)
    keys = [
        decimals("after m", "way_m"),
        decimals("axis m", "axis_m"),
        Key("deg", "roll_angle_deg", angle_1),
        Key("heading", "heading_deg", angle_1),
        decimals("m/s", "speed_m_s"),
        decimals("km/h", "speed_km_h", 0, rank=4),
        decimals("s", "seconds", 2),
        decimals("margin", "margin", 3, missing="lost"),
        decimals("steer", "steer_deg", 2),
        decimals("deg/s", "steer_rate_deg_s", 0, rank=5),
        decimals("least N", "least", 0, rank=2),
        words(
            "in air",
            "wheels_in_air",
            lambda wheels: str(wheels or "").upper(),
            rank=3,
        ),
        decimals("kW", "power_kW", 0, rank=6),
        Key("abort", "abort", str, optional=True, numeric=False),
    ]
    for row in rows:
        loads = [row[f"load_{wheel}_N"] for wheel in ("fl", "fr", "rl", "rr")]
        row["least"] = None if None in loads else min(loads)
    head = "Marks along the route: way driven and way along the axis, roll angle, heading (course), speed, steer"
    return f"{paragraph(head, width)}\n{keyed_table(rows, keys, width)}"


def angle_1(degrees: float) -> str:
    """An angle to a tenth of a degree."""
    return number(degrees, 1)
