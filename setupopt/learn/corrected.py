"""The corrected project: the files of the old one with new numbers, and what is left uncertain."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from setupopt.errors import OutputError
from setupopt.evaluation.cases import level, path_cases
from setupopt.evaluation.result import Field
from setupopt.learn.estimate import TOLD, Posterior
from setupopt.learn.grip import Grip
from setupopt.learn.model import car_of, differences, given
from setupopt.physics.inputs import Floats
from setupopt.project.bodies import FOLDER, file_name
from setupopt.project.model import Project
from setupopt.robust.builds.varied_car import downforce_of, foundation_of
from setupopt.units import PERCENT

HISTORY = "learned.json"
_NO_AIR = 1e-9  # kg/m3
_TYRE = (
    "foundation_N_per_mm3",
    "foundation_per_bar_N_per_mm3",
    "carcass_N_per_mm",
    "carcass_per_bar_N_per_mm",
)


@dataclass(frozen=True)
class Correction:
    """What the log changes. `values`: of the car's parameters, shares; `covariance`: a frame by their names.

    `downforce`: a frame by axle ("front", "rear", "both"), what the air adds to its load straight on the
    level at the sweep's speed: N `before` and `after`, and one standard error of each as a share.
    `spread`: a frame by field of Spread, plus and minus `before` and `after`, shares.
    """

    project: Project
    values: dict[str, float]
    covariance: Any
    downforce: Any
    spread: Any


def corrected(project: Project, found: Posterior) -> Correction:
    """The project with the values of the log."""
    those = found.those[found.those["kind"] == "car"]
    names = list(those.index)
    count = len(names)
    covariance = pd.DataFrame(found.covariance[:count, :count], names, names)
    first = (found.root @ found.root.T)[:count, :count]
    value = those["value"].to_numpy()
    table = [
        _axles(project, names, *pair)
        for pair in ((0.0 * value, first), (value, covariance.to_numpy()))
    ]
    columns = ["before", "error_before", "after", "error"]
    downforce = pd.DataFrame(
        np.vstack(table).T, ["front", "rear", "both"], columns
    )
    old = np.sqrt(np.diag(first))
    plus = (2.0 * those["error"])[
        (those["error"] < TOLD * old)
        & those.index.isin(["drag", "side_force", "mass"])
    ]
    plus["downforce"] = 2.0 * downforce["error"].max()
    before = [given(project, name) for name in plus.index]
    spread = pd.DataFrame(
        {"before": before, "after": np.ceil(1e3 * plus) / 1e3}, dtype=float
    )
    spread = spread[~(spread["after"] >= spread["before"])]
    car = car_of(project, those["value"].to_dict())[0].car
    limits = project.limits
    if limits and limits.spread:
        narrow: Field = {
            str(name): share for name, share in spread["after"].items()
        }
        limits = replace(limits, spread=replace(limits.spread, **narrow))
    return Correction(
        replace(project, car=car, limits=limits),
        those["value"].to_dict(),
        covariance,
        downforce,
        spread,
    )


def _axles(
    project: Project, names: list[str], value: Floats, covariance: Floats
) -> Floats:
    """What the air adds to the load of front, rear and both, N, and the error as a share, (2, 3)."""
    venue = project.venue
    cases = path_cases(
        venue,
        "level",
        np.full(2, level(venue)),
        speed=np.array(venue.sweep.speed),
    )
    cases.records["air_density"][1] = _NO_AIR

    def loads(theta: Floats) -> Floats:
        model, settings = car_of(
            project, dict(zip(names, theta.tolist(), strict=True))
        )
        load = model.run(settings, cases).answers[0]["load"]
        front, rear = (load[0] - load[1]).reshape(2, 2).sum(axis=1)
        return np.array([front, rear, front + rear])

    base = loads(value)
    slopes = differences(loads, value, base, np.sqrt(np.diag(covariance)))
    return np.array(
        [
            base,
            np.sqrt(np.einsum("ai,ij,aj->a", slopes, covariance, slopes))
            / np.abs(base),
        ]
    )


# ---- files -------------------------------------------------------------------------------------------------


def _car_files(project: Project) -> list[str]:
    body = project.setup.body
    return ["car.toml", *([] if body is None else [file_name(body)])]


def _digest(texts: dict[str, bytes], names: list[str]) -> str:
    return hashlib.sha256(b"".join(texts[name] for name in names)).hexdigest()


def _texts(project: Project) -> dict[str, bytes]:
    """The files of a project that a corrected one has too, by name."""
    folder = project.folder
    paths = [
        path
        for pattern in ("*.toml", "*.csv", f"{FOLDER}/*.toml", HISTORY)
        for path in folder.glob(pattern)
    ]
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(paths)
    }


def history(project: Project) -> Field:
    """What earlier logs told of this very car; empty where there is none, or its files have changed since."""
    texts = _texts(project)
    try:
        found: Field = json.loads(texts[HISTORY])
        return (
            found
            if found["files"] == _digest(texts, _car_files(project))
            else {}
        )
    except (ValueError, KeyError, TypeError):
        return {}


def known_before(project: Project, those: Any, covariance: Floats) -> Floats:
    """The covariance before a log, with that of earlier logs where they told of the same parameters."""
    told = history(project)
    names = list(those.index[those["kind"] == "car"])
    if told.get("parameters") == names:
        covariance = covariance.copy()
        covariance[: len(names), : len(names)] = told["covariance"]
    return covariance


def refuse_folder(target: Path) -> None:
    """Raises OutputError unless the corrected project can have a folder of its own."""
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise OutputError(
            str(target),
            "it exists; a corrected project is written to a new folder",
        )


def files(
    found: Correction, grip: Grip, old: Project, logs: list[str], date: str
) -> dict[str, bytes]:
    """The files of the corrected project by name: those of the old one, the new numbers in them."""
    texts = _texts(old)
    numbers = (
        found.spread.set_index(found.spread.index + "_percent")["after"]
        / PERCENT
    )
    texts.setdefault("limits.toml", b"")
    for name in [*_car_files(old), "limits.toml", "venue.toml"]:
        texts[name] = _changed(
            found, grip, name, texts[name].decode("utf-8-sig"), numbers, date
        ).encode()
    entry = {
        "date": date,
        "logs": logs,
        "values": found.values,
        "spread_percent": numbers.to_dict(),
    }
    told = {
        "files": _digest(texts, _car_files(old)),
        "parameters": list(found.values),
        "covariance": found.covariance.to_numpy().tolist(),
        "history": [*history(old).get("history", []), entry],
    }
    return texts | {HISTORY: (json.dumps(told, indent=1) + "\n").encode()}


def _changed(
    found: Correction, grip: Grip, name: str, text: str, spread: Any, date: str
) -> str:
    """A file with the new numbers, all else as it was."""
    import tomlkit

    document: Any = tomlkit.parse(text)
    # What is worn was driven: the body of car.toml stays as it is while the car wears another one
    is_worn = name != "car.toml" or found.project.setup.body is None
    new = list(
        _new_numbers(
            found, document, document.get("air", {}) if is_worn else {}
        )
    )
    if name == "venue.toml":
        venue = document["venue"]
        new = [
            (venue, "surface_grip", venue["surface_grip"] * (grip.value or 1.0))
        ]
    if name == "limits.toml":
        table = document.setdefault("spread", tomlkit.table())
        new = [(table, key, value) for key, value in spread.items()]
    for table, key, value in new:
        old = table.get(key)
        if old is None or abs(value - old) > 1e-9 * abs(old):
            table[key] = float(f"{value:.6g}")
            table[key].comment(f"was {old}; from a log, {date}")
    return tomlkit.dumps(document)


def _new_numbers(
    found: Correction, document: Any, air: Any
) -> Iterator[tuple[Any, str, float]]:
    """Tables, keys and values of a file of the car."""
    factor = {name: 1.0 + value for name, value in found.values.items()}
    rows = [(document.get("car", {}), {"mass_kg": "mass"})]
    rows.append(
        (air, {"drag_area_m2": "drag", "side_area_m2_per_rad": "side_force"})
    )
    for element in air.get("element", []):
        own = downforce_of(str(element["name"]))
        keys = {
            "free_area_m2": own,
            "ground_area_m2": own,
            "drag_area_m2": "drag",
        }
        rows += [
            (part, keys) for part in (element, *element.get("setting", []))
        ]
    rows += [
        (tyre, dict.fromkeys(_TYRE, foundation_of(str(name))))
        for name, tyre in document.get("tyre", {}).items()
    ]
    for table, keys in rows:
        yield from (
            (table, key, table[key] * factor.get(name, 1.0))
            for key, name in keys.items()
            if key in table
        )
