"""Fitted bodies as plain values, for scripts; explained in docs/nomenclature.md."""

from __future__ import annotations

from setupopt.evaluation.result import Field
from setupopt.fit.air.files import body_as_dict, spread_percent
from setupopt.fit.air.fit import AirFit, Number
from setupopt.fit.air.fits import SPREADS, AirFits
from setupopt.fit.air.ladder import misses
from setupopt.fit.air.oddities import oddities
from setupopt.fit.air.rows import FORCES
from setupopt.report.shared.plain import rounded
from setupopt.units import PERCENT


def cautions(fits: AirFits) -> list[str]:
    """What is odd about the table, then about each body."""
    several = len(fits.parts) > 1
    own = [
        (f"{fit.name}: " if several else "") + said
        for fit in fits.parts
        for said in oddities(fit)
    ]
    return [*fits.notes, *own]


def frees(fit: AirFit, place: int) -> str:
    before = fit.steps[place - 1].rung.names if place else ()
    new = [name for name in fit.steps[place].rung.names if name not in before]
    return ", ".join(new)


def miss(fit: AirFit, place: int) -> float | None:
    errors = misses(fit.steps[place], fit.rows)
    return float(errors.mean()) if errors.size else None


def as_dict(fits: AirFits) -> Field:
    """The same for a program; explained in docs/nomenclature.md."""
    return {
        "table": fits.table.path.name,
        "car": fits.project.car.name,
        "air_density_kg_m3": fits.table.density,
        "noise_percent": rounded(fits.noise, PERCENT),
        "is_whole": fits.is_whole,
        "cautions": cautions(fits),
        "spread": {key: spread_percent(fits, key) for key in SPREADS},
        "bodies": [_body(fit) for fit in fits.fits],
        "turned": [_body(part) for part in fits.parts if part.wing is not None],
    }


def _body(fit: AirFit) -> Field:
    return {
        "name": fit.name,
        "configuration": fit.label,
        "rows": len(fit.rows),
        "wing": None
        if fit.wing is None
        else fit.like.air.elements[fit.wing].name,
        "rung": fit.rung + 1,
        "rungs": [rung_fields(fit, place) for place in range(len(fit.steps))],
        "common_factor": _factor(fit),
        "numbers": [_number(one) for one in fit.numbers],
        "errors": {
            key: force_errors(fit, place) for place, key in enumerate(FORCES)
        },
        "correlated": [
            [*pair[:2], rounded(pair[2])] for pair in fit.fitted.correlated
        ],
        "outlying": [
            {"line": a, "force": b, "score": rounded(c)}
            for a, b, c in fit.outlying
        ],
        "body": body_as_dict(fit),
    }


def rung_fields(fit: AirFit, place: int) -> Field:
    """What a rung frees, and the error of left-out rows."""
    return {
        "frees": frees(fit, place),
        "error_percent": rounded(miss(fit, place), PERCENT),
    }


def _factor(fit: AirFit) -> dict[str, float | None] | None:
    if fit.common_factor is None:
        return None
    value, error = fit.common_factor
    return {
        "value": rounded(value),
        "standard_error": rounded(error),
    }


def _number(one: Number) -> Field:
    term = one.term
    return {
        "element": term.part or None,
        "key": term.key,
        "value": rounded(one.value, term.unit),
        "standard_error": rounded(one.error, term.unit),
        "like": rounded(term.like, term.unit),
    }


def force_errors(fit: AirFit, place: int) -> Field:
    """How many values of a force there are, and how well left-out rows are predicted."""
    return {
        "values": int(fit.rows.counts[:, place].sum()),
        "error_percent": rounded(fit.error(place), PERCENT),
        "explained_percent": rounded(fit.explained(place), PERCENT),
    }
