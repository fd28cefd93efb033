"""The work from one setup to another, step by step, on the pad model."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setupopt.physics.inputs import Floats
from setupopt.project.bodies import body_words
from setupopt.project.model import AXLES, Ballast, Project, Setup
from setupopt.project.settings import BALANCE, SETTINGS
from setupopt.sheet.adjusters import AxleTools, axle_tools, thickness
from setupopt.sheet.build import as_written, changed, with_changes
from setupopt.sheet.pad_state import Pad
from setupopt.sheet.places import Place, _identity, all_pieces, places
from setupopt.sheet.steps import FIELDS, Step, apply, damper_rates, wheels_of
from setupopt.units import DEG, GRAVITY, MM, N_PER_MM, NS_PER_MM, PERCENT

# A smaller difference than tape and camber gauge can read counts as none.
_TAPE = 5e-5  # m
_GAUGE = 0.005 * DEG  # rad
SETTING_OF = {setting.field: setting for setting in SETTINGS}


class Work:
    """The steps so far, and the car as it stands after them."""

    def __init__(self, project: Project, today: Setup, target: Setup) -> None:
        self.pad = Pad(project, today)
        self.today = today
        self.target = target
        self.tools = [axle_tools(project, axle) for axle in (0, 1)]
        self.pieces = all_pieces(today, target)
        self.stance = as_written(
            replace(
                today, ballast=tuple(self._today_piece(p) for p in self.pieces)
            )
        )
        self.reading = self.pad.reading(self.stance)
        self.steps: list[Step] = []
        self.left_alone: list[str] = []

    def _today_piece(self, piece: Ballast) -> Ballast:
        """A piece as it is today; without mass where it is not on the car."""
        fitted = (
            one
            for one in self.today.ballast
            if _identity(one) == _identity(piece)
        )
        return next(fitted, replace(piece, mass=0.0))

    def do(self) -> None:
        """Everything, in the order of the trade."""
        self.body()
        self.ballast()
        self.wings()
        self.check(
            "pad",
            "Pad flat and level, steering straight; tyres at their pressure as run for all of this",
        )
        self.by_wheel("pressure", "tyre hot pressure, as run,", 2)
        self.connected_off("bars off", "anti-roll bar", self.stance.anti_roll)
        self.connected_off("third off", "third spring", self.stance.third)
        self.by_wheel("spring", "spring", 3)
        self.dampers()
        self.cambers()
        self.by_wheel("toe", "toe", 2)
        self.check(
            "driver",
            "Driver or ballast and the usual fuel aboard; roll the car and let it settle",
        )
        self.ride_heights()
        self.toe_check()
        self.check("cross weights", self.weights_words())
        self.connect("bars on", "anti-roll bar", "anti_roll")
        self.connect("third on", "third spring", "third")
        self.shares()
        self.check(
            "re-check",
            "Bounce the car, roll it, and measure everything once more",
        )

    # ---- single steps -------------------------------------------------------------------------------------

    def check(self, job: str, what: str) -> None:
        """A step that turns nothing."""
        self.add(job, "", what, None, "")

    def add(
        self, job: str, where: str, what: str, amount: float | None, unit: str, exact: float | None = None,
        shims: tuple[tuple[float, int], ...] = (), too_small: bool = False, slot: int = 0,
        asks_stack: bool = False,
    ) -> None:  # fmt: skip
        """Do a step, and read the pad after it."""
        number = len(self.steps) + 1
        step = Step(
            number,
            job,
            where,
            what,
            amount,
            unit,
            shims,
            exact,
            too_small,
            self.reading,
            slot,
            asks_stack,
        )
        self.stance = apply(self.pad, step, self.stance)
        self.reading = self.pad.reading(self.stance)
        self.steps.append(replace(step, reading=self.reading))

    def leave(self, words: str) -> None:
        """Name a difference that cannot be set."""
        self.left_alone.append(words)

    @staticmethod
    def four(setup: Setup, field: str) -> Floats:
        """A setting of the four wheels, SI."""
        sides = (*setup.front.sides(field), *setup.rear.sides(field))
        return np.array([np.nan if value is None else value for value in sides])

    # ---- the whole car ------------------------------------------------------------------------------------

    def body(self) -> None:
        """Another body goes on before anything is measured."""
        if self.today.body != self.target.body:
            on = body_words(self.target.body)
            off = body_words(self.today.body)
            self.check("body", f"Fit the {on} in place of the {off}")

    def ballast(self) -> None:
        """Pieces that come, go or move."""
        for slot, piece in enumerate(self.pieces):
            now = self._today_piece(piece)
            wanted = (
                piece
                if slot < len(self.target.ballast)
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
                self.add(
                    "ballast",
                    piece.name,
                    what,
                    wanted.mass - now.mass,
                    "kg",
                    slot=slot,
                )
            elif now.station != piece.station:
                what = f"{name}: move from station {now.station / MM:g} mm to {place}"
                by = (piece.station - now.station) / MM
                self.add("ballast", piece.name, what, by, "mm", by, slot=slot)

    def wings(self) -> None:
        """Angles of the wings that the target's body has."""
        before = dict(self.today.wings)
        for slot, (name, angle) in enumerate(self.target.wings):
            start = before.get(name)
            to = f"{angle / DEG:g} deg"
            if start is None:
                self.check("wing", f"Wing {name}: set to {to}")
            elif start != angle:
                what = f"Wing {name}: angle {start / DEG:g} -> {to}"
                self.add(
                    "wing", name, what, (angle - start) / DEG, "deg", slot=slot
                )

    def shares(self) -> None:
        """Brake balance and drive split."""
        for setting, words in zip(
            BALANCE, ("brake balance", "drive split"), strict=False
        ):
            own = getattr(self.pad.project.car, setting.field)
            given = (
                getattr(setup.balance, setting.field)
                for setup in (self.today, self.target)
            )
            before, after = (own if value is None else value for value in given)
            if before != after:
                to = f"{before / PERCENT:.4g} -> {after / PERCENT:.4g} % front"
                by = (after - before) / PERCENT
                self.add(words, "", f"{words.capitalize()} {to}", by, "%", by)

    # ---- wheel by wheel -----------------------------------------------------------------------------------

    def by_wheel(self, job: str, words: str, digits: int) -> None:
        """Something that is set as it is wanted, wherever it differs."""
        setting = SETTING_OF[FIELDS[job]]
        factor = setting.factor
        starts = self.four(self.today, setting.field)
        ends = self.four(self.target, setting.field)
        for place in places(starts, ends):
            before = starts[place.wheel] / factor
            exact = (ends[place.wheel] - starts[place.wheel]) / factor
            amount = round(ends[place.wheel] / factor, digits) - before
            if exact == 0.0:
                continue
            if abs(amount) < 0.5 * 10.0**-digits:
                self.leave(
                    f"{place.name} {words}: {exact:+.2g} {setting.unit} is too little to set"
                )
                continue
            what = f"{place.title} {words} {before:.4g} -> {before + amount:.4g} {setting.unit}"
            note = ", old free length and seat" if job == "spring" else ""
            both = (
                ", both sides" if place.where in AXLES and job != "toe" else ""
            )
            self.add(
                job,
                place.where,
                f"{what}{note}{both}",
                amount,
                setting.unit,
                exact,
            )
            if job == "spring":
                self.unlisted_spring(place, ends[place.wheel])

    def unlisted_spring(self, place: Place, rate: float) -> None:
        """Say so where a spring is none of those on the shelf."""
        limits = self.pad.project.limits
        shelf = (
            getattr(limits, AXLES[place.axle]).spring
            if limits is not None
            else None
        )
        if (
            shelf is not None
            and shelf.choices
            and not np.isclose(shelf.choices, rate, rtol=1e-9).any()
        ):
            self.leave(
                f"{place.name} spring: {rate / N_PER_MM:g} N/mm is none of those on the shelf"
            )

    def dampers(self) -> None:
        """Bump and rebound, in clicks where there is a table."""
        for job in ("damper bump", "damper rebound"):
            field = FIELDS[job]
            starts = damper_rates(self.pad, self.stance, field)
            given = self.four(self.target, field)
            own = damper_rates(
                self.pad, changed(self.stance, **{field: given}), field
            )
            for place in places(starts, own):
                start = starts[place.wheel]
                end = own[place.wheel]
                if start != end and not np.isnan(end):
                    self.damper(job, place, start, end)

    def damper(self, job: str, place: Place, start: float, end: float) -> None:
        """One damper, or those of an axle."""
        tools = self.tools[place.axle]
        field = FIELDS[job]
        table = tools.clicks(field)
        words = f"{place.title} {job}"
        if np.isnan(start):
            self.check(job, f"{words}: set to {end / NS_PER_MM:g} N s/mm")
            return
        if not table:
            to = f"{start / NS_PER_MM:g} -> {end / NS_PER_MM:g} N s/mm"
            self.add(
                job,
                place.where,
                f"{words} {to}, {place.each}",
                (end - start) / NS_PER_MM,
                "N s/mm",
            )
            return
        before = tools.click(field, start)
        after = tools.click(field, end)
        if abs(table[after] - end) > 1e-6 * end:
            rate = f"{end / NS_PER_MM:g} N s/mm is no click"
            self.leave(
                f"{place.name} {job}: {rate}; {after} clicks make {table[after] / NS_PER_MM:g} N s/mm"
            )
        if before != after:
            to = f"{before} -> {after} clicks ({table[after] / NS_PER_MM:g} N s/mm), {place.each}"
            self.add(
                job,
                place.where,
                f"{words} {to}",
                float(after - before),
                "clicks",
            )

    def connected_off(self, job: str, words: str, rates: Floats) -> None:
        """Disconnect on both axles, where there is anything."""
        if rates.any():
            what = f"Disconnect every {words}: it must carry nothing while the car is set"
            self.check(job, what)

    def connect(self, job: str, words: str, field: str) -> None:
        """Connect at the position wanted, or the nearest there is."""
        for axle, name in enumerate(AXLES):
            wanted = getattr(getattr(self.target, name), field)
            rate, position = (
                self.tools[axle].position(wanted)
                if field == "anti_roll"
                else (wanted, "")
            )
            if abs(rate - wanted) > 1e-6 * max(1.0, wanted):
                self.leave(
                    f"{name} {words}: {wanted / N_PER_MM:g} N/mm is no position of the bar"
                )
            amount = rate / N_PER_MM
            if amount:
                what = f"{name.capitalize()} {words}{position}, {amount:g} N/mm: connect without preload"
                self.add(job, name, what, amount, "N/mm", wanted / N_PER_MM)
            elif getattr(getattr(self.today, name), field):
                self.add(
                    job,
                    name,
                    f"{name.capitalize()} {words} stays disconnected",
                    None,
                    "",
                )

    # ---- camber -------------------------------------------------------------------------------------------

    def cambers(self) -> None:
        """Shims of every wheel, so that the gauge reads as wanted once the ride heights are."""
        wanted = self.four(self.target, "camber")
        moves = self.camber_moves(wanted)
        for place in places(moves, wanted, self.reading.camber):
            self.camber(place, float(moves[place.wheel]))

    def camber_moves(self, wanted: Floats) -> Floats:
        """Changes of camber, rad, so that the gauge reads `wanted` with the target's ride heights."""
        by = np.zeros(4)
        for _ in range(4):
            tried = changed(self.stance, camber=self.stance.camber + by)
            moves = self.pad.perch_moves(tried, self.target)
            reading = self.pad.reading(
                changed(tried, perch=tried.perch + moves)
            )
            by = by + wanted - reading.camber
        return by

    def camber(self, place: Place, exact: float) -> None:
        """Shims of one wheel, or of both of an axle."""
        tools = self.tools[place.axle]
        shims = tools.shims_for(exact)
        by = tools.camber_of(shims, exact)
        if by == 0.0:
            if abs(exact) > _GAUGE:
                least = f"{exact / DEG:+.3f} deg is less than half of the thinnest shim"
                self.leave(f"{place.name} camber: {least}")
            return
        self.short_stack(place, shims, by)
        before = self.reading.camber[place.wheel] / DEG
        to = f"{place.title} camber {before:.2f} -> {before + by / DEG:.2f} deg"
        unit = tools.per_unit(tools.camber_unit)
        self.add(
            "camber",
            place.where,
            f"{to}: {tools.shim_words(shims, by, place.each)}",
            round(by / unit, 6),
            tools.camber_unit,
            exact / unit,
            tuple((round(size / MM, 6), count) for size, count in shims),
            asks_stack=tools.per_shim is not None and tools.fitted is None,
        )

    def short_stack(
        self, place: Place, shims: tuple[tuple[float, int], ...], by: float
    ) -> None:
        """Say so where more shims are to come out than are in."""
        tools = self.tools[place.axle]
        out = thickness(shims)
        takes_out = tools.per_shim is not None and by / tools.per_shim < 0.0
        if takes_out and tools.fitted is not None and out > tools.fitted + 1e-9:
            fitted = f"{tools.fitted / MM:g} mm of shims are fitted"
            self.leave(
                f"{place.name} camber: {out / MM:g} mm to take out, but {fitted}"
            )

    # ---- ride heights and cross weight --------------------------------------------------------------------

    def ride_heights(self) -> None:
        """Perches or push-rods of the four corners, so that ride heights and cross weight are as wanted."""
        moves = self.pad.perch_moves(self.stance, self.target)
        for place in places(moves):
            tools = self.tools[place.axle]
            exact = float(moves[place.wheel])
            amount = tools.perch_amount(exact)
            if amount == 0.0:
                self.small_height(place, exact, tools)
                continue
            wheels = wheels_of(place.where)
            raised = with_changes(
                self.stance, "perch", wheels, tools.raised(amount)
            )
            before, after = (
                np.mean(reading.side_height[list(wheels)]) / MM
                for reading in (self.reading, self.pad.reading(raised))
            )
            way = "Raise" if tools.raised(amount) > 0.0 else "Lower"
            what = (
                f"{way} the {place.name} by {tools.perch_words(amount)} {place.each}: the {place.name} then "
                f"reads {before:.1f} -> {after:.1f} mm"
            )
            self.add(
                "ride height",
                place.where,
                what,
                amount,
                tools.perch_unit,
                tools.in_units(exact),
            )

    def small_height(
        self, place: Place, exact: float, tools: AxleTools
    ) -> None:
        """A ride height that needs less than can be turned is named."""
        if abs(exact) <= _TAPE:
            return
        least = "a flat" if tools.turn else "0.1 mm"
        words = f"{exact / MM:+.2f} mm wanted, less than half of {least}"
        self.leave(f"{place.name} ride height: {words}")
        what = f"Check the {place.name} ride height: {words}"
        exact_units = tools.in_units(exact)
        self.add(
            "re-check",
            place.where,
            what,
            None,
            tools.perch_unit,
            exact_units,
            too_small=True,
        )

    def toe_check(self) -> None:
        """Shims and ride heights move the toe, and the model does not compute how far."""
        if any(step.job in ("camber", "ride height") for step in self.steps):
            fl, fr, rl, rr = (
                f"{toe / MM:.4g}" for toe in self.four(self.target, "toe")
            )
            front = fl if fl == fr else f"{fl} left and {fr} right"
            rear = rl if rl == rr else f"{rl} left and {rr} right"
            what = f"Toe {front} mm front, {rear} mm rear: check, shims and turns move it"
            self.check("toe", what)

    def weights_words(self) -> str:
        """What the scales should show."""
        reading = self.reading
        fl, fr, rl, rr = reading.load / GRAVITY
        return (
            f"Cross weights: the scales should show {fl:.1f}, {fr:.1f}, {rl:.1f}, {rr:.1f} kg (FL, FR, RL, "
            f"RR), front right plus rear left {100.0 * reading.cross_share:.1f} %; trim by opposite flats on "
            "one diagonal"
        )


def _aside(piece: Ballast) -> str:
    """Where a piece sits across the car."""
    if piece.side == 0.0:
        return "on the centre line"
    return (
        f"{abs(piece.side) / MM:g} mm {'left' if piece.side > 0.0 else 'right'}"
    )
