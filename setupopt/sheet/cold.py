"""Cold pressures from the hot ones of a setup, by the gas law: what to set before the tyres are warm."""

from __future__ import annotations

from dataclasses import dataclass

from setupopt.project.model import WHEELS, Project, Setup

_ATMOSPHERE = 101_325.0  # Pa, standard atmosphere, ISO 2533
_ZERO = 273.15  # K at 0 deg C


@dataclass(frozen=True)
class ColdPressure:
    """A wheel's gauge pressure, Pa, at the temperature `at`, deg C, where it is `hot` when the tyre runs."""

    wheel: str
    hot: float
    cold: float
    at: float


def cold_pressure(hot: float, running: float, cold: float) -> float:
    """Gauge pressure, Pa, at `cold` deg C of a tyre that has `hot` Pa at `running` deg C.

    Absolute pressure over absolute temperature stays, at constant volume; dry gas, standard atmosphere.

    >>> round(cold_pressure(160e3, 80.0, 20.0))
    115602
    """
    absolute = (hot + _ATMOSPHERE) * (cold + _ZERO) / (running + _ZERO)
    return absolute - _ATMOSPHERE


def cold_pressures(project: Project, setup: Setup) -> tuple[ColdPressure, ...]:
    """Of every wheel whose tyre says how warm it runs."""
    tyres = (*project.car.front.tyres, *project.car.rear.tyres)
    hot = (*setup.front.sides("pressure"), *setup.rear.sides("pressure"))
    return tuple(
        ColdPressure(wheel, own, cold_pressure(own, tyre.running_temperature, tyre.cold_temperature),
                     tyre.cold_temperature)
        for wheel, tyre, own in zip(WHEELS, tyres, hot, strict=True)
        if tyre.running_temperature is not None and own is not None
    )  # fmt: skip
