"""The corrected project: the files of the old one with new numbers, and what is left uncertain."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np

from setupopt.errors import OutputError
from setupopt.files import read_regular
from setupopt.learn.estimate import Posterior
from setupopt.learn.explain import TOLD
from setupopt.learn.model import Parameter, axle_downforce, differences
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import FOLDER, file_name
from setupopt.project.model import Project, Spread
from setupopt.robust.builds.build_variation import downforce_of, foundation_of, varied_car
from setupopt.units import PERCENT

HISTORY = "learned.json"
_MOST_BYTES = 20_000_000
_TYRE = ("foundation_N_per_mm3", "foundation_per_bar_N_per_mm3", "carcass_N_per_mm", "carcass_per_bar_N_per_mm")


@dataclass(frozen=True)
class Correction:
    """What the log changes. `values`: of the car's parameters, shares, with their covariance.

    `downforce`: of front axle, rear axle and both, straight on the level: N before, N after, share that one
    standard error is before and after; (3, 4). `spread`: new plus and minus by field of Spread, shares, with
    the old one, None where there was none.
    """

    project: Project
    values: dict[str, float]
    covariance: Floats
    downforce: Floats
    spread: dict[str, tuple[float | None, float]]


def corrected(project: Project, found: Posterior) -> Correction:
    """The project with the values of the log."""
    rows = [row for row, one in enumerate(found.those) if one.kind == "car"]
    names = [found.those[row].name for row in rows]
    values = dict(zip(names, found.value[rows].tolist(), strict=True))
    covariance = found.covariance[np.ix_(rows, rows)]
    before = (found.root @ found.root.T)[np.ix_(rows, rows)]
    downforce = _downforce(project, values, before, covariance)
    shares = {"downforce": float(2.0 * downforce[:, 3].max())}
    error = dict(zip(names, np.sqrt(np.diag(covariance)).tolist(), strict=True))
    old_error = {one.name: one.error for one in found.those}
    shares |= {name: 2.0 * error[name] for name in ("drag", "side_force", "mass")}
    old = project.limits.spread if project.limits else None
    spread = {}
    for name, share in shares.items():
        given = getattr(old, name, None)
        is_told = name == "downforce" or error[name] < TOLD * old_error[name]
        if is_told and (given is None or share < given):
            spread[name] = (given, ceil(1e3 * share) / 1e3)
    car = varied_car(project.car, {name: 1.0 + value for name, value in values.items()})
    limits = project.limits
    if limits:
        kept = limits.spread or Spread(*(None,) * 6)
        limits = replace(limits, spread=replace(kept, **{name: new for name, (_, new) in spread.items()}))
    return Correction(replace(project, car=car, limits=limits), values, covariance, downforce, spread)


def _downforce(project: Project, values: dict[str, float], before: Floats, after: Floats) -> Floats:
    names = list(values)

    def loads(theta: Floats) -> Floats:
        return axle_downforce(project, dict(zip(names, theta.tolist(), strict=True)))

    theta = np.array(list(values.values()))
    columns = []
    for at, covariance in ((np.zeros(theta.size), before), (theta, after)):
        base = loads(at)
        slopes = differences(loads, at, base, np.sqrt(np.diag(before)))
        share = np.sqrt(np.einsum("ai,ij,aj->a", slopes, covariance, slopes)) / np.abs(base)
        columns.append((base, share))
    return np.column_stack([columns[0][0], columns[1][0], columns[0][1], columns[1][1]])


# ---- what earlier logs told --------------------------------------------------------------------------------


def _digest(texts: dict[str, bytes]) -> str:
    """Of the files that a correction is about."""
    return hashlib.sha256(b"".join(texts[name] for name in sorted(texts))).hexdigest()


def _car_files(project: Project) -> list[str]:
    body = project.setup.body
    return ["car.toml", *([] if body is None else [file_name(body)])]


def history(project: Project) -> dict[str, Any]:
    """What earlier logs told of this very car; empty where there is none, or its files have changed since."""
    try:
        found: dict[str, Any] = json.loads(read_regular(project.folder / HISTORY, _MOST_BYTES))
        texts = {name: read_regular(project.folder / name, _MOST_BYTES) for name in _car_files(project)}
        return found if found["files"] == _digest(texts) else {}
    except (OSError, ValueError, KeyError, TypeError):
        return {}


def known_before(project: Project, those: list[Parameter], covariance: Floats) -> Floats:
    """The covariance before a log, with that of earlier logs where they told of the same parameters."""
    told = history(project)
    names = [one.name for one in those if one.kind == "car"]
    kept = np.array(told.get("covariance", []), dtype=float)
    if told.get("parameters") != names or kept.shape != (len(names),) * 2:
        return covariance
    rows = [row for row, one in enumerate(those) if one.kind == "car"]
    both = covariance.copy()
    both[np.ix_(rows, rows)] = kept
    return both


# ---- files -------------------------------------------------------------------------------------------------


def refuse_folder(target: Path) -> None:
    """Raises OutputError unless the corrected project can have a folder of its own."""
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise OutputError(str(target), "it exists; a corrected project is written to a new folder")


def files(found: Correction, old: Project, logs: list[str], date: str) -> dict[str, bytes]:
    """The files of the corrected project by name: those of the old one, the new numbers in them."""
    folder = old.folder
    paths = [path for pattern in ("*.toml", "*.csv", f"{FOLDER}/*.toml", HISTORY) for path in folder.glob(pattern)]
    texts = {str(path.relative_to(folder)): path.read_bytes() for path in sorted(paths)}
    for name in {*_car_files(old), "limits.toml"} & texts.keys():
        texts[name] = _changed(found, name, texts[name].decode("utf-8-sig"), date).encode()
    kept = history(old).get("history", [])
    entry = {
        "date": date, "logs": logs, "values": found.values,
        "spread": {name: {"before": before, "after": after} for name, (before, after) in found.spread.items()},
    }  # fmt: skip
    told = {
        "files": _digest({name: texts[name] for name in _car_files(old)}),
        "parameters": list(found.values),
        "covariance": found.covariance.tolist(),
        "history": [*kept, entry],
    }
    return texts | {HISTORY: (json.dumps(told, indent=1) + "\n").encode()}


def _changed(found: Correction, name: str, text: str, date: str) -> str:
    """A file with the new numbers, all else as it was."""
    import tomlkit

    document: Any = tomlkit.parse(text)
    for table, key, factor in _factors(found, document):
        if table.get(key) and factor != 1.0:
            old = float(table[key])
            table[key] = float(f"{old * factor:.6g}")
            table[key].comment(f"was {old:g}; from a log, {date}")
    if name == "limits.toml":
        spread = document.setdefault("spread", tomlkit.table())
        for field, (before, share) in found.spread.items():
            key = f"{field}_percent"
            spread[key] = round(share / PERCENT, 3)
            was = "none" if before is None else f"{before / PERCENT:g}"
            spread[key].comment(f"was {was}; from a log, {date}")
    return tomlkit.dumps(document)


def _factors(found: Correction, document: Any) -> Iterator[tuple[Any, str, float]]:
    """Tables, keys and what their numbers are multiplied by."""
    factor = {name: 1.0 + value for name, value in found.values.items()}
    air = document.get("air", {})
    yield document.get("car", {}), "mass_kg", factor["mass"]
    yield air, "drag_area_m2", factor["drag"]
    yield air, "side_area_m2_per_rad", factor["side_force"]
    for element in air.get("element", []):
        for part in (element, *element.get("setting", [])):
            own = factor.get(downforce_of(str(element["name"])), 1.0)
            yield part, "free_area_m2", own
            yield part, "ground_area_m2", own
            yield part, "drag_area_m2", factor["drag"]
    for name, tyre in document.get("tyre", {}).items():
        for key in _TYRE:
            yield tyre, key, factor.get(foundation_of(str(name)), 1.0)
