"""Work on the whole car, and what comes before and after all that is set."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from setupopt.project.bodies import body_words
from setupopt.project.model import AXLES, Ballast
from setupopt.project.settings import BALANCE
from setupopt.sheet.wheel_work import LINKS, nearest_rate
from setupopt.sheet.work import Work
from setupopt.units import DEG, GRAVITY, MM, N_PER_MM, PERCENT

DRIVER = (
    "Driver or ballast and the usual fuel aboard; roll the car, let it settle"
)


def body(work: Work) -> None:
    """Another body goes on before anything is measured."""
    if work.today.body != work.target.body:
        on = body_words(work.target.body)
        off = body_words(work.today.body)
        work.add("body", f"Fit the {on} in place of the {off}")


def ballast(work: Work) -> None:
    """Pieces that come, go or move."""
    for slot, piece in enumerate(work.pieces):
        now = work.today_piece(piece)
        wanted = (
            piece
            if slot < len(work.target.ballast)
            else replace(piece, mass=0.0)
        )
        name = f"Ballast {piece.name}, {piece.mass:g} kg"
        place = f"station {piece.station / MM:g} mm, {_aside(piece)}, {piece.height / MM:g} mm up"
        if now.mass != wanted.mass:
            what = (
                f"{name}: fit at {place}"
                if wanted.mass
                else f"{name}: take out"
            )
            by = wanted.mass - now.mass
            work.add("ballast", what, piece.name, by, "kg", slot=slot)
        elif now.station != piece.station:
            what = (
                f"{name}: move from station {now.station / MM:g} mm to {place}"
            )
            by = (piece.station - now.station) / MM
            work.add("ballast", what, piece.name, by, "mm", slot=slot)


def wings(work: Work) -> None:
    """Angles of the wings that the target's body has."""
    before = dict(work.today.wings)
    for slot, (name, angle) in enumerate(work.target.wings):
        start = before.get(name)
        to = f"{angle / DEG:g} deg"
        if start is None:
            work.add("wing", f"Wing {name}: set to {to}", name)
        elif start != angle:
            what = f"Wing {name}: angle {start / DEG:g} -> {to}"
            by = (angle - start) / DEG
            work.add("wing", what, name, by, "deg", slot=slot)


def shares(work: Work) -> None:
    """Brake balance and drive split."""
    for setting, words in zip(
        BALANCE, ("brake balance", "drive split"), strict=False
    ):
        own = getattr(work.pad.project.car, setting.field)
        given = (
            getattr(setup.balance, setting.field)
            for setup in (work.today, work.target)
        )
        before, after = (own if value is None else value for value in given)
        if before != after:
            to = f"{before / PERCENT:.4g} -> {after / PERCENT:.4g} % front"
            by = (after - before) / PERCENT
            work.add(words, f"{words.capitalize()} {to}", "", by, "%")


def prepare(work: Work) -> None:
    """The car on the pad, nothing in it that carries from wheel to wheel."""
    points = [
        "Pad flat and level, steering straight",
        "Tyres at their hot pressure, as run, for all of this",
    ]
    off = [
        f"every {words}"
        for words, rates in (
            ("anti-roll bar", work.stance.anti_roll),
            ("third spring", work.stance.third),
        )
        if rates.any()
    ]
    if off:
        points.append(
            f"Disconnect {' and '.join(off)}: they must carry nothing while the car is set"
        )
    work.add("prepare", "Prepare the car", points=tuple(points))


def finish(work: Work) -> None:
    """Weigh, connect what was off, and measure everything once more."""
    points = [] if work.has("ride height") else [DRIVER]
    points.append(_weights_words(work))
    if work.has("camber", "ride height", "toe"):
        points.append(_toe_words(work))
    links = [*_links(work)]
    named = [words for words, _ in links if words]
    if named:
        points.append(f"Connect without preload: {', '.join(named)}")
    points += [
        "Bounce the car, roll it, and measure ride heights and cambers once more",
        "Sign the sheet",
    ]
    rates = tuple(rate for _, rate in links)
    work.add("finish", "Final check", points=tuple(points), connects=rates)


def _weights_words(work: Work) -> str:
    """What the scales should show."""
    reading = work.reading
    fl, fr, rl, rr = reading.load / GRAVITY
    return (
        f"Weigh: {fl:.1f}, {fr:.1f}, {rl:.1f}, {rr:.1f} kg (FL, FR, RL, RR), cross weight, front right plus "
        f"rear left, {100.0 * reading.cross_share:.1f} %; trim by opposite flats on one diagonal"
    )


def _toe_words(work: Work) -> str:
    """Shims and ride heights move the toe, and the model does not compute how far."""
    fl, fr, rl, rr = (
        f"{toe / MM:.4g}" for toe in work.four(work.target, "toe")
    )
    front = fl if fl == fr else f"{fl} left and {fr} right"
    rear = rl if rl == rr else f"{rl} left and {rr} right"
    return (
        f"Toe {front} mm front, {rear} mm rear: check, shims and turns move it"
    )


def _links(work: Work) -> Iterator[tuple[str, float]]:
    """Bars front and rear, then third springs: words, empty for none, and the rate there is, N/m."""
    for words, field in LINKS:
        for axle, name in enumerate(AXLES):
            rate, position = nearest_rate(work, field, axle)
            at = f"{name} {words}{position} ({rate / N_PER_MM:g} N/mm)"
            yield (at if rate else ""), rate


def _aside(piece: Ballast) -> str:
    """Where a piece sits across the car."""
    if piece.side == 0.0:
        return "on the centre line"
    return (
        f"{abs(piece.side) / MM:g} mm {'left' if piece.side > 0.0 else 'right'}"
    )
