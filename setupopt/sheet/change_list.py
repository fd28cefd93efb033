"""From today's setup to another one: what to turn, in order of work, and what the pad reads on the way."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setupopt.evaluation.model import evaluate
from setupopt.evaluation.pack import as_setup
from setupopt.physics.inputs import Record
from setupopt.project.bodies import body_words, with_body
from setupopt.project.model import AXLES, Project, Setup
from setupopt.sheet.adjusters import AxleTools, axle_tools
from setupopt.sheet.build import as_written, changed, with_change
from setupopt.sheet.pad_state import Pad, PadReading
from setupopt.units import BAR, DEG, GRAVITY, MM, N_PER_MM


@dataclass(frozen=True, eq=False)
class Step:
    """One thing to do, or to check, on the pad.

    `job` is one of "body", "pad", "pressure", "driver", "bars off", "third off", "spring", "ride height",
    "camber", "toe", "cross weights", "re-check", "bars on", "third on"; `where` is "front", "rear" (each side
    alike) or "" for the whole car. A check, or a body to fit, has no `amount`.
    """

    number: int  # from 1
    job: str
    where: str
    what: str  # plain words for the mechanic, with units
    amount: float | None  # signed change, in `unit`; each side
    unit: str  # "turns", "mm of shim", "bar", "N/mm"; without an adjuster's table "mm", "deg"
    shims: tuple[tuple[float, int], ...]  # (size in mm, count) to add, or for a negative amount to take out
    exact: float | None  # amount before rounding to what the adjuster can do
    too_small: bool  # less than half of the adjuster's smallest step: left as it is
    reading: PadReading  # what the pad shows after this step


@dataclass(frozen=True, eq=False)
class ChangeList:
    """All steps, and the margins they are worth: worst over the steady sweep, -inf where contact is lost."""

    today: Setup
    target: Setup
    landed: Setup  # as the steps really leave the car
    steps: tuple[Step, ...]
    margin_today: float
    margin_target: float
    margin_landed: float
    left_alone: tuple[str, ...]  # differences that could not be set, each in words

    @property
    def lost_to_rounding(self) -> float:
        """Margin that the adjusters' steps cost; negative where they help. No number without contact."""
        return self.margin_target - self.margin_landed


def apply(pad: Pad, step: Step, stance: Record) -> Record:
    """The stance after a step is done on it; a check changes nothing."""
    if step.job in ("bars off", "third off"):
        return changed(stance, **{_FIELDS[step.job]: np.zeros(2)})
    if step.amount is None or step.job not in _FIELDS:
        return stance
    axle = AXLES.index(step.where)
    if step.job in ("bars on", "third on"):
        free = stance.free_travel.copy()
        free[2 * axle : 2 * axle + 2] = pad.reading(stance).travel[2 * axle : 2 * axle + 2]
        stance = changed(stance, free_travel=free)
    by = step.amount * axle_tools(pad.project, axle).per_unit(step.unit)
    return with_change(stance, _FIELDS[step.job], axle, by)


# A smaller difference than tape and camber gauge can read counts as none.
_TAPE = 5e-5  # m
_GAUGE = 0.005 * DEG  # rad
_FIELDS = {
    "pressure": "pressure", "bars off": "anti_roll", "third off": "third", "spring": "spring",
    "ride height": "perch", "camber": "camber", "toe": "toe", "bars on": "anti_roll", "third on": "third",
}  # fmt: skip


def change_list(project: Project, today: Setup, target: Setup) -> ChangeList:
    """The work from `today` to `target`, in order, solved on the pad model; rounded to what can be turned.

    Ride heights are set after the springs and again after camber, which moves them; bars and third springs
    are off until the end, so that they carry nothing when they are connected. Raises UserError where the car
    cannot stand on the pad on the way.
    """
    work = _Work(project, today, target)
    work.do()
    landed = work.landed()
    work.name_misses(landed)
    before, wanted, after = (_worst_margin(project, setup) for setup in (today, target, landed))
    return ChangeList(
        today, target, landed, tuple(work.steps), before, wanted, after, tuple(work.left_alone)
    )  # fmt: skip


def _worst_margin(project: Project, setup: Setup) -> float:
    """Of a setup in its own body."""
    return float(evaluate(with_body(project, setup.body), setup).worst_margin[0])


def _raised(stance: Record, moves: np.ndarray) -> Record:
    """A stance with both axles' perches moved, m."""
    return with_change(with_change(stance, "perch", 0, moves[0]), "perch", 1, moves[1])


class _Work:
    """The steps so far, and the car as it stands after them."""

    def __init__(self, project: Project, today: Setup, target: Setup) -> None:
        self.pad = Pad(project, today)
        self.today = today
        self.target = target
        self.tools = [axle_tools(project, axle) for axle in (0, 1)]
        self.stance = as_written(today)
        self.reading = self.pad.reading(self.stance)
        self.steps: list[Step] = []
        self.left_alone: list[str] = []

    def do(self) -> None:
        """Everything, in the order of the trade."""
        self.body()
        self.check(
            "pad", "Pad flat and level, steering straight; tyres at their pressure as run for all of this"
        )
        self.by_axle("pressure", "tyre hot pressure, as run,", "bar", BAR, 2)
        self.check("driver", "Driver or ballast and the usual fuel aboard; roll the car and let it settle")
        self.connected_off("bars off", "anti-roll bar", self.stance.anti_roll)
        self.connected_off("third off", "third spring", self.stance.third)
        self.by_axle("spring", "spring", "N/mm", N_PER_MM, 3)
        self.ride_heights("ride height")
        for axle in (0, 1):
            self.camber(axle)
        self.by_axle("toe", "toe", "mm", MM, 2)
        self.toe_check()
        self.ride_heights("re-check")
        self.check("cross weights", self.weights_words())
        self.connect("bars on", "anti-roll bar", "anti_roll")
        self.connect("third on", "third spring", "third")
        self.check("re-check", "Bounce the car, roll it, and measure everything once more")

    def body(self) -> None:
        """Another body goes on before anything is measured."""
        if self.today.body != self.target.body:
            on = body_words(self.target.body)
            off = body_words(self.today.body)
            self.check("body", f"Fit the {on} in place of the {off}")

    # ---- single steps -------------------------------------------------------------------------------------

    def check(self, job: str, what: str) -> None:
        """A step that turns nothing."""
        self.add(job, "", what, None, "")

    def add(
        self, job: str, where: str, what: str, amount: float | None, unit: str, exact: float | None = None,
        shims: tuple[tuple[float, int], ...] = (), too_small: bool = False,
    ) -> None:  # fmt: skip
        """Do a step, and read the pad after it."""
        number = len(self.steps) + 1
        step = Step(number, job, where, what, amount, unit, shims, exact, too_small, self.reading)
        self.stance = apply(self.pad, step, self.stance)
        self.reading = self.pad.reading(self.stance)
        self.steps.append(replace(step, reading=self.reading))

    def leave(self, words: str) -> None:
        """Name a difference that cannot be set."""
        self.left_alone.append(words)

    def by_axle(self, job: str, words: str, unit: str, factor: float, digits: int) -> None:
        """Something that is set as it is wanted, on each axle where it differs."""
        for name in AXLES:
            before, after = (
                getattr(getattr(setup, name), _FIELDS[job]) for setup in (self.today, self.target)
            )
            exact = (after - before) / factor
            amount = round(after / factor, digits) - before / factor
            if exact == 0.0:
                continue
            if abs(amount) < 0.5 * 10.0**-digits:
                self.leave(f"{name} {words}: {exact:+.2g} {unit} is too little to set")
                continue
            what = (
                f"{name.capitalize()} {words} {before / factor:.4g} -> {before / factor + amount:.4g} {unit}"
            )
            note = ", old free length and seat" if job == "spring" else ""
            self.add(job, name, f"{what}{note}, both sides" if job != "toe" else what, amount, unit, exact)
            self.unlisted_spring(name, job)

    def unlisted_spring(self, name: str, job: str) -> None:
        """Say so where a spring is none of those on the shelf."""
        limits = self.pad.project.limits
        shelf = getattr(limits, name).spring if job == "spring" and limits is not None else None
        rate = getattr(self.target, name).spring
        if shelf is not None and shelf.choices and not np.isclose(shelf.choices, rate, rtol=1e-9).any():
            self.leave(f"{name} spring: {rate / N_PER_MM:g} N/mm is none of those on the shelf")

    def connected_off(self, job: str, words: str, rates: np.ndarray) -> None:
        """Disconnect on both axles, where there is anything."""
        if rates.any():
            self.add(
                job, "", f"Disconnect every {words}: it must carry nothing while the car is set", None, ""
            )

    def connect(self, job: str, words: str, field: str) -> None:
        """Connect at the position wanted, or the nearest there is."""
        for axle, name in enumerate(AXLES):
            wanted = getattr(getattr(self.target, name), field)
            rate, position = self.tools[axle].position(wanted) if field == "anti_roll" else (wanted, "")
            if abs(rate - wanted) > 1e-6 * max(1.0, wanted):
                self.leave(f"{name} {words}: {wanted / N_PER_MM:g} N/mm is no position of the bar")
            amount = rate / N_PER_MM
            if amount:
                what = f"{name.capitalize()} {words}{position}, {amount:g} N/mm: connect without preload"
                self.add(job, name, what, amount, "N/mm", wanted / N_PER_MM)
            elif getattr(getattr(self.today, name), field):
                self.add(job, name, f"{name.capitalize()} {words} stays disconnected", None, "")

    # ---- ride heights -------------------------------------------------------------------------------------

    def ride_heights(self, job: str) -> None:
        """Perches or push-rods of both axles, so that both ride heights read as wanted."""
        moves = self.perch_moves(self.stance)
        for axle, name in enumerate(AXLES):
            tools = self.tools[axle]
            exact = float(moves[axle])
            amount = tools.perch_amount(exact)
            if amount == 0.0:
                self.small_height(name, exact, tools, job)
                continue
            before = self.reading.ride_height[axle] / MM
            after = self.pad.reading(
                with_change(self.stance, "perch", axle, tools.raised(amount))
            ).ride_height
            way = "Raise" if tools.raised(amount) > 0.0 else "Lower"
            what = (
                f"{way} the {name} by {tools.perch_words(amount)} each side: the {name} then reads "
                f"{before:.1f} -> {after[axle] / MM:.1f} mm"
            )
            self.add("ride height", name, what, amount, tools.perch_unit, tools.in_units(exact))

    def small_height(self, name: str, exact: float, tools: AxleTools, job: str) -> None:
        """A ride height that needs nothing, or less than can be turned; named where it was not set at all."""
        if job != "re-check":
            return
        too_small = abs(exact) > _TAPE
        least = "a flat" if tools.turn else "0.1 mm"
        words = f"{exact / MM:+.2f} mm wanted, less than half of {least}"
        what = f"Re-check the {name} ride height: {words if too_small else 'it needs no turn'}"
        if too_small and not any((step.job, step.where) == ("ride height", name) for step in self.steps):
            self.leave(f"{name} ride height: {words}")
        self.add(job, name, what, None, tools.perch_unit, tools.in_units(exact), too_small=too_small)

    def perch_moves(self, start: Record) -> np.ndarray:
        """Moves of both axles' perches, m, that bring both ride heights to the target's, by Newton steps."""
        wanted = np.array(self.target.ride_heights)
        moves = np.zeros(2)
        probe = 1e-4
        for _ in range(4):
            stance = _raised(start, moves)
            height = self.pad.reading(stance).ride_height
            probed = [
                self.pad.reading(with_change(stance, "perch", axle, probe)).ride_height for axle in (0, 1)
            ]
            slopes = (np.array(probed) - height).T / probe
            moves = moves + np.linalg.solve(slopes, wanted - height)
        return moves

    # ---- camber -------------------------------------------------------------------------------------------

    def camber(self, axle: int) -> None:
        """Shims of one axle, so that the gauge reads as wanted at the target's ride heights."""
        name = AXLES[axle]
        tools = self.tools[axle]
        wanted = float(getattr(self.target, name).camber)
        exact = self.camber_move(axle, wanted)
        shims = tools.shims_for(exact)
        by = tools.camber_of(shims, exact)
        if by == 0.0:
            if abs(exact) > _GAUGE:
                self.leave(f"{name} camber: {exact / DEG:+.3f} deg is less than half of the thinnest shim")
            return
        before = self.reading.camber[2 * axle] / DEG
        to = f"{name.capitalize()} camber {before:.2f} -> {before + by / DEG:.2f} deg"
        what = f"{to}: {tools.shim_words(shims, by)}"
        amount = round(by / tools.per_unit(tools.camber_unit), 6)
        shims_mm = tuple((round(size / MM, 6), count) for size, count in shims)
        self.add(
            "camber",
            name,
            what,
            amount,
            tools.camber_unit,
            exact / tools.per_unit(tools.camber_unit),
            shims_mm,
        )

    def camber_move(self, axle: int, wanted: float) -> float:
        """Change of camber, rad, so that the gauge reads `wanted` once the ride heights are right again."""
        by = 0.0
        for _ in range(4):
            tried = with_change(self.stance, "camber", axle, by)
            reading = self.pad.reading(_raised(tried, self.perch_moves(tried)))
            by += wanted - float(reading.camber[2 * axle])
        return by

    def toe_check(self) -> None:
        """Shims and ride heights move the toe, and the model does not compute how far."""
        if any(step.job in ("camber", "ride height") for step in self.steps):
            front = self.target.front.toe / MM
            rear = self.target.rear.toe / MM
            self.check("toe", f"Toe {front:.4g} mm front, {rear:.4g} mm rear: check, shims and turns move it")

    # ---- ends ---------------------------------------------------------------------------------------------

    def weights_words(self) -> str:
        """What the scales should show."""
        reading = self.reading
        fl, fr, rl, rr = reading.load / GRAVITY
        return (
            f"Cross weights: the scales should show {fl:.1f}, {fr:.1f}, {rl:.1f}, {rr:.1f} kg (FL, FR, RL, "
            f"RR), front right plus rear left {100.0 * reading.cross_share:.1f} %; trim by opposite flats on "
            "one diagonal"
        )

    def name_misses(self, landed: Setup) -> None:
        """Name what lands outside its tolerance, because the tools are too coarse or run out."""
        limits = self.pad.project.limits
        held = limits.tolerance if limits is not None else None
        for name in AXLES:
            if held is None:
                return
            for field, room, unit, factor in (
                ("camber", held.camber, "deg", DEG), ("ride_height", held.ride_height, "mm", MM)
            ):  # fmt: skip
                miss = getattr(getattr(landed, name), field) - getattr(getattr(self.target, name), field)
                if abs(miss) > room * (1.0 + 1e-6):
                    words = (
                        f"{name} {field.replace('_', ' ')}: lands {miss / factor:+.2f} {unit} off the target"
                    )
                    self.leave(f"{words}, more than the tolerance of {room / factor:g} {unit}")

    def landed(self) -> Setup:
        """The setup that the car stands on, as the pad reads it."""
        read = changed(
            self.stance, camber=self.reading.camber, ride_height=np.repeat(self.reading.ride_height, 2)
        )
        return as_setup(read, self.target)
