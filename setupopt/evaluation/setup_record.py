"""A setup as a record with a value for each wheel, and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from setupopt.physics.inputs import (
    Record,
    Records,
    layout,
)
from setupopt.project.model import (
    AXLES,
    AxleSetup,
    BalanceSetup,
    Ballast,
    Setup,
    WheelSetup,
)
from setupopt.project.settings import (
    BALANCE,
    MOST_BALLAST,
    MOST_WINGS,
    SETTINGS,
)

# Setups wheel by wheel, SI: what may differ from side to side has a value for every wheel, the rest one for
# each axle, or one. Fields are those of SETTINGS and BALANCE; `wing` by the order of a setup's wings; and of
# each piece of ballast. Not a number: as car.toml says.
_CAR = tuple(s.field for s in BALANCE)
_PIECE = tuple(field.name for field in fields(Ballast) if field.name != "name")
SETUP_FIELDS: dict[str, Any] = {
    "one": " ".join(_CAR),
    "axles": " ".join(s.field for s in SETTINGS if s.per == "axle"),
    "wheels": " ".join(s.field for s in SETTINGS if s.per == "wheel"),
    "more": (
        ("wing", "f8", (MOST_WINGS,)),
        *((name, "f8", (MOST_BALLAST,)) for name in _PIECE),
    ),
}
SETUP = layout(**SETUP_FIELDS)
_AS_SET = ("camber", "anti_roll", "third")


def by_wheel(setups: Setup | Sequence[Setup] | Records) -> Records:
    """SETUP records (setups) of setups as files give them; records stay as they are.

    Raises ValueError where two bodies are worn.
    """
    if isinstance(setups, np.ndarray):
        return setups
    many = [setups] if isinstance(setups, Setup) else list(setups)
    worn = {(s.body, tuple(name for name, _ in s.wings)) for s in many}
    if len(worn) > 1:
        raise ValueError(
            "setups that are solved together must wear the same body with the same wings"
        )
    rows = np.zeros(len(many), SETUP)
    for row, setup in zip(rows, many, strict=True):
        _fill(row, setup)
    return rows


def _fill(row: Record, setup: Setup) -> None:
    """Put one setup into its record."""
    for setting in SETTINGS:
        for axle, name in enumerate(AXLES):
            sides = getattr(setup, name).sides(setting.field)
            values = sides if setting.per == "wheel" else sides[:1]
            row[setting.field][setting.slots(axle)] = [
                np.nan if v is None else v for v in values
            ]
    for setting in BALANCE:
        given = getattr(setup.balance, setting.field)
        row[setting.field] = np.nan if given is None else given
    row["wing"] = np.nan
    row["wing"][: len(setup.wings)] = [angle for _, angle in setup.wings]
    for field in _PIECE:
        row[field][: len(setup.ballast)] = [
            getattr(piece, field) for piece in setup.ballast
        ]


def as_setup(row: Record, like: Setup) -> Setup:
    """A SETUP record as a file gives it, with the names and the body of another setup."""
    front, rear = (_axle_setup(row, axle) for axle in range(2))
    balance = BalanceSetup(**{s.field: _given(row[s.field]) for s in BALANCE})
    wings = tuple(
        (name, float(angle))
        for (name, _), angle in zip(like.wings, row["wing"], strict=False)
    )
    ballast = tuple(
        _piece(row, number, piece.name)
        for number, piece in enumerate(like.ballast)
    )
    like = replace(like, front=front, rear=rear, balance=balance)
    return replace(like, wings=wings, ballast=ballast)


def _axle_setup(row: Record, axle: int) -> AxleSetup:
    """One axle; a side has values of its own where they differ from the mean of both."""
    whole: dict[str, float | None] = {}
    sides: tuple[dict[str, float], ...] = ({}, {})
    for setting in SETTINGS:
        values = row[setting.field][setting.slots(axle)]
        whole[setting.field] = _given(values.mean())
        if values[0] != values[-1] and not np.isnan(values).any():
            for own, value in zip(sides, values, strict=True):
                own[setting.field] = float(value)
        else:
            whole[setting.field] = _given(values[0])
    left, right = (WheelSetup(**side) for side in sides)
    return AxleSetup(**whole, left=left, right=right)  # type: ignore[arg-type]


def _piece(row: Record, number: int, name: str) -> Ballast:
    """A piece of ballast of a SETUP record."""
    return Ballast(name, *(float(row[field][number]) for field in _PIECE))


def _given(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
