"""Work wheel by wheel, or on an axle with both sides alike: pressures, springs, dampers, bars, toe."""

from __future__ import annotations

import numpy as np

from setupopt.project.model import AXLES
from setupopt.project.settings import SETTING_OF
from setupopt.sheet.build import changed
from setupopt.sheet.places import Place, places
from setupopt.sheet.steps import FIELDS, damper_rates
from setupopt.sheet.work import Work
from setupopt.units import N_PER_MM, NS_PER_MM

LINKS = (("anti-roll bar", "anti_roll"), ("third spring", "third"))


def by_wheel(work: Work, job: str, words: str, digits: int) -> None:
    """Something that is set as it is wanted, wherever it differs."""
    setting = SETTING_OF[FIELDS[job]]
    factor = setting.factor
    starts = work.four(work.today, setting.field)
    ends = work.four(work.target, setting.field)
    for place in places(starts, ends):
        before = starts[place.wheel] / factor
        exact = (ends[place.wheel] - starts[place.wheel]) / factor
        amount = round(ends[place.wheel] / factor, digits) - before
        if exact == 0.0:
            continue
        if abs(amount) < 0.5 * 10.0**-digits:
            work.leave(
                f"{place.name} {words}: {exact:+.2g} {setting.unit} is too little to set"
            )
            continue
        what = f"{place.title} {words} {before:.4g} -> {before + amount:.4g} {setting.unit}"
        note = ", old free length and seat" if job == "spring" else ""
        both = ", both sides" if place.where in AXLES and job != "toe" else ""
        work.add(
            job,
            f"{what}{note}{both}",
            place.where,
            amount,
            setting.unit,
            exact=exact,
        )
        if job == "spring":
            _unlisted_spring(work, place, ends[place.wheel])


def _unlisted_spring(work: Work, place: Place, rate: float) -> None:
    """Say so where a spring is none of those on the shelf."""
    limits = work.pad.project.limits
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
        work.leave(
            f"{place.name} spring: {rate / N_PER_MM:g} N/mm is none of those on the shelf"
        )


def dampers(work: Work) -> None:
    """Bump and rebound, in clicks where there is a table."""
    for job in ("damper bump", "damper rebound"):
        field = FIELDS[job]
        starts = damper_rates(work.pad, work.stance, field)
        given = work.four(work.target, field)
        own = damper_rates(
            work.pad, changed(work.stance, **{field: given}), field
        )
        for place in places(starts, own):
            start = starts[place.wheel]
            end = own[place.wheel]
            if start != end and not np.isnan(end):
                _damper(work, job, place, start, end)


def _damper(
    work: Work, job: str, place: Place, start: float, end: float
) -> None:
    """One damper, or those of an axle."""
    tools = work.tools[place.axle]
    field = FIELDS[job]
    table = tools.clicks(field)
    words = f"{place.title} {job}"
    if np.isnan(start):
        work.add(
            job, f"{words}: set to {end / NS_PER_MM:g} N s/mm", place.where
        )
        return
    if not table:
        to = f"{start / NS_PER_MM:g} -> {end / NS_PER_MM:g} N s/mm"
        by = (end - start) / NS_PER_MM
        work.add(job, f"{words} {to}, {place.each}", place.where, by, "N s/mm")
        return
    before = tools.click(field, start)
    after = tools.click(field, end)
    if abs(table[after] - end) > 1e-6 * end:
        rate = f"{end / NS_PER_MM:g} N s/mm is no click"
        work.leave(
            f"{place.name} {job}: {rate}; {after} clicks make {table[after] / NS_PER_MM:g} N s/mm"
        )
    if before != after:
        to = f"{before} -> {after} clicks ({table[after] / NS_PER_MM:g} N s/mm), {place.each}"
        by = float(after - before)
        work.add(job, f"{words} {to}", place.where, by, "clicks")


def links(work: Work) -> None:
    """Bars and third springs of another rate, set while they are off; "finish" connects them."""
    for words, field in LINKS:
        for axle, name in enumerate(AXLES):
            wanted = getattr(getattr(work.target, name), field)
            before = getattr(getattr(work.today, name), field)
            rate, position = nearest_rate(work, field, axle)
            if abs(rate - wanted) > 1e-6 * max(1.0, wanted):
                work.leave(
                    f"{name} {words}: {wanted / N_PER_MM:g} N/mm is no position of the bar"
                )
            if abs(rate - before) <= 1e-6 * max(1.0, before):
                continue
            to = f"{name.capitalize()} {words} {before / N_PER_MM:g} -> {rate / N_PER_MM:g} N/mm{position}"
            after = "still disconnected" if rate else "stays disconnected"
            by, exact = (
                (value - before) / N_PER_MM for value in (rate, wanted)
            )
            work.add(words, f"{to}, {after}", name, by, "N/mm", exact=exact)


def nearest_rate(work: Work, field: str, axle: int) -> tuple[float, str]:
    """The rate wanted of an axle's bar or third spring, N/m, or the nearest there is; words for its position."""
    wanted = getattr(getattr(work.target, AXLES[axle]), field)
    if field == "anti_roll":
        return work.tools[axle].position(wanted)
    return wanted, ""
