"""A proposal in words and plain tables, for people; the words stand in propose.txt."""

from __future__ import annotations

from collections.abc import Iterator

from setupopt.evaluation.result import Field
from setupopt.evaluation.variables import Slot, slots
from setupopt.project.limits_model import Tolerance
from setupopt.project.model import WHEELS, Setup
from setupopt.project.settings import rounded
from setupopt.report.propose.fields import JudgedProposal
from setupopt.report.shared.tables import margin_words, number, significant
from setupopt.report.shared.template import rendered
from setupopt.report.shared.words import slot_words, where_words
from setupopt.robust import last_word
from setupopt.search import handling
from setupopt.search.proposal import DISTURBANCE, Alternative, Proposal
from setupopt.search.required_front import Required
from setupopt.search.stood_setup import UNITS, StoodSetup
from setupopt.search.worth import PLATEAU_LOSS
from setupopt.units import BAR, DEG, MM, PERCENT

# Places that the settings, and each alternative beside them, take.
_SETTING_WIDTH = 36
_ALTERNATIVE_WIDTH = 10


def text(judged: JudgedProposal, width: int, short: bool = False) -> str:
    """The whole report, or with `short` the verdict and the setup; lines of at most `width`."""
    columns = [f"; {n + 1}={n + 1}: s" for n in range(len(judged.alternatives))]
    many = (width - _SETTING_WIDTH) // _ALTERNATIVE_WIDTH
    return rendered(
        "propose/propose", width, short, judged=judged, settings=list(_settings(judged)),
        alternatives=list(_alternatives(judged)),
        others=["".join(columns[i : i + many]) for i in range(0, len(columns), many)],
        required_rows=_required_rows, deviations=_deviations, rounded=rounded, handling=handling,
        last_word=last_word, DISTURBANCE=DISTURBANCE, PLATEAU_LOSS=PLATEAU_LOSS,
    )  # fmt: skip


# ---- settings ----------------------------------------------------------------------------------------------


def _settings(judged: JudgedProposal) -> Iterator[Field]:
    """Every setting today and proposed, and what it is worth."""
    p = judged.proposal
    changes = {change.slot.name: change for change in p.changes}
    plateaus = {plateau.slot.name: plateau for plateau in p.plateaus}
    for slot in slots((judged.project.setup, p.setup)):
        today = _shown_value(slot, judged.project.setup)
        proposed = _shown_value(slot, p.setup)
        plateau = plateaus.get(slot.name)
        ends = (plateau.lower, plateau.upper) if plateau else ()
        low, high = [f"{rounded(one, slot.setting):g}" for one in ends] or (
            "",
            "",
        )
        yield {
            "name": slot_words(slot),
            "unit": slot.setting.unit,
            "today": today,
            "proposed": proposed,
            "steady": p.required and slot.value(p.required.steady.setup),
            "star": "" if today == proposed else "*",
            "change": changes.get(slot.name),
            "low": low,
            "high": high,
        }


def _shown_value(slot: Slot, setup: Setup) -> str:
    value = slot.value(setup)
    return "-" if value is None else f"{value:g}"


def _alternatives(judged: JudgedProposal) -> Iterator[Field]:
    """Margin and settings of the proposal and its alternatives, by number, where any of them differ."""
    shown: list[Proposal | Alternative] = [
        judged.proposal,
        *judged.alternatives,
    ]
    margins = [number(one.weighted_margin, 4) for one in shown]
    setups = [one.setup for one in shown]
    yield {"name": "margin", "unit": "", **_by_number(margins)}
    for slot in slots(setups):
        values = [_shown_value(slot, setup) for setup in setups]
        if len(set(values)) > 1:
            about = {"name": slot_words(slot), "unit": slot.setting.unit}
            yield about | _by_number(values)


def _by_number(cells: list[str]) -> Field:
    return {str(n): cell for n, cell in enumerate(cells)}


# ---- what must be stood ------------------------------------------------------------------------------------


def _required_rows(required: Required) -> Iterator[Field]:
    """Margin, then every disturbance, then the chance on the road, of the three setups."""
    names = ("today", "steady", "proposed")
    setups: list[StoodSetup] = [getattr(required, name) for name in names]

    def row(
        what: str,
        unit: str,
        values: list[str],
        asked: str = "",
        where: str = "",
    ) -> Field:
        about = {"what": what, "unit": unit, "asked": asked, "where": where}
        return about | dict(zip(names, values, strict=False))

    yield row("worst margin", "", [margin_words(one.margin) for one in setups])
    for each in zip(*(one.stood for one in setups), strict=True):
        key, unit, factor = UNITS[each[0].kind]
        asked = significant(required.times * each[0].asked / factor)
        stood = [significant(one.stood / factor) for one in each]
        yield row(key, unit, stood, asked, where_words(each[-1].fields))
        if each[0].kind == "road":
            failed = [significant(100.0 * one.ridden, 2) for one in each]
            yield row("runs on it that fail", "%", failed)
        else:
            rides = [significant(one.ridden / factor) for one in each]
            yield row("in rides", unit, rides)
    built = [margin_words(one.built) for one in setups if one.built is not None]
    if built:
        yield row("worst margin, builds or inputs", "", built)


# ---- how far to trust it -----------------------------------------------------------------------------------


def _deviations(errors: dict[str, float], t: Tolerance) -> Iterator[Field]:
    """What deviates, and by how much at each wheel; ride heights deviate by axle."""
    bounds = {
        "camber deg": t.camber / DEG,
        "spring %": t.spring_share / PERCENT,
        "pressure bar": t.pressure / BAR,
        "ride height mm": t.ride_height / MM,
    }
    for name, bound in bounds.items():
        kind = name.rpartition(" ")[0]
        row: Field = {"name": name}
        for wheel in WHEELS:
            axle = "front" if wheel.startswith("f") else "rear"
            error = errors[f"{kind} {axle if kind == 'ride height' else wheel}"]
            row[wheel] = round(bound * error, 6)
        yield row
