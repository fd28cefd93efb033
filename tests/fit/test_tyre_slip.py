"""Slip curves, cornering stiffness, aligning moment, carcass: invented tyres come back."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from setupopt.errors import InputErrors
from setupopt.fit.tyre_parameters import (
    CARCASS,
    CARCASS_PER_BAR,
    FOUNDATION,
    LEAN,
    PER_BAR,
    SHEAR,
    THRUST,
)
from setupopt.fit.tyre_table import (
    ALIGNING,
    CURVE,
    PEAK,
    QUANTITIES,
    SLIP,
    STIFFNESS,
    Rig,
    read_tyre_table,
)
from setupopt.report.fit_tyre.text import fragment

from .test_tyre import (
    DAY,
    EDGE,
    RC,
    TAPED,
    TWO_PERCENT,
    K,
    R,
    by_key,
    fitted,
    johnson,
    pressed,
    scores,
    untold,
)
from .tyre_tables import (
    CURVES,
    PRESS,
    PROGRAMME,
    SOFT,
    Invented,
    answers,
    noisy,
    write,
)

# Noise as `noisy` makes it; forces near zero have the flat part
AS_MADE = {
    "lateral_N": 5.0,
    "aligning_Nm": 0.2,
    "aligning_percent": 2.0,
    "cornering_stiffness_percent": 2.0,
}


def test_shear_and_thrust_come_back_from_curves(tmp_path: Path) -> None:
    """54 points with 2 % noise, and moments: within three standard errors, which are below 3 %."""
    path = write(
        tmp_path / "t.csv",
        CURVES,
        noisy(answers(Invented(), CURVES), 1),
        (CURVE, ALIGNING),
    )
    fit = fitted(path, replace(TAPED, noise=AS_MADE))
    off = scores(fit, Invented())
    assert {SHEAR, THRUST} <= off.keys()
    assert abs(off[SHEAR]) < 3.0 and abs(off[THRUST]) < 3.0
    for key, true in ((SHEAR, 1.6), (THRUST, 0.6)):
        error = by_key(fit)[key].standard_error
        assert error is not None and error < 0.03 * true
    assert untold(fit) >= {FOUNDATION, PER_BAR}  # one pressure


def test_shear_of_the_closed_form_comes_back(tmp_path: Path) -> None:
    """Johnson's elliptic patch, C = (16/3) (c_t / c_x) d sqrt(2 d / c_y), docs/model.md: the shear to 1e-6.

    A wheel that leaned under its own force would have less at high loads: none is found to.
    """
    loads = [1000.0, 2000.0, 3000.0, 4000.0]
    values = np.full((len(loads), len(QUANTITIES)), np.nan)
    values[:, : len(PRESS)] = johnson(loads)
    depth = values[:, 0]
    values[:, QUANTITIES.index(STIFFNESS)] = (
        16.0 / 3.0 * 1.7 * K * R * depth * np.sqrt(2.0 * depth * RC)
    )
    path = write(
        tmp_path / "t.csv", [(load, 0.0, 1.5) for load in loads], values
    )
    found = by_key(fitted(path, Rig(radius=R, tread_width=2.0 * EDGE)))
    assert found[SHEAR].value == pytest.approx(1.7, rel=1e-6)
    assert found[LEAN].untold is not None and found[LEAN].untold.bound == 0.0


def test_tread_and_carcass_are_told_apart(tmp_path: Path) -> None:
    """Deflection and patch in one table, at three pressures, 2 % noise: within three standard errors;
    the carcass' own are below a tenth."""
    path = write(
        tmp_path / "t.csv", PROGRAMME, noisy(pressed(PROGRAMME, tyre=SOFT), 1)
    )
    fit = fitted(path, replace(TAPED, noise=TWO_PERCENT))
    off = scores(fit, SOFT)
    assert {FOUNDATION, PER_BAR, CARCASS, CARCASS_PER_BAR} <= off.keys()
    assert max(map(abs, off.values())) < 3.0
    value, error = fit.carcass_at(1.5e5)
    assert error < 0.1 * value and value == pytest.approx(
        240e3, abs=3.0 * error
    )


def test_a_rigid_carcass_is_left_out(tmp_path: Path) -> None:
    """The rows of a tyre without one do not ask for one; that is said, and it is not called missing."""
    path = write(tmp_path / "t.csv", DAY, noisy(answers(Invented(), DAY), 3))
    fit = fitted(path, replace(TAPED, noise=TWO_PERCENT))
    assert not fit.has_carcass
    assert {CARCASS, CARCASS_PER_BAR} <= untold(fit)
    assert not fit.missing
    assert "# carcass_N_per_mm: these rows do not ask for it" in fragment(
        fit, "t"
    )


def test_deflection_without_a_patch_does_not_tell_a_carcass(
    tmp_path: Path,
) -> None:
    """Alone it may be of the tread or of the carcass: none is written."""
    path = write(
        tmp_path / "t.csv",
        DAY,
        answers(SOFT, DAY),
        ("deflection_mm", STIFFNESS),
    )
    fit = fitted(path, TAPED)
    assert not fit.has_carcass and CARCASS in untold(fit)


def test_one_pressure_tells_the_whole_carcass_alone(tmp_path: Path) -> None:
    """As of the foundation: at one pressure the two parts go together, and the sum is said."""
    rows = [row for row in PROGRAMME if row[2] == 1.5][::2]
    path = write(
        tmp_path / "t.csv",
        rows,
        noisy(pressed(rows, tyre=SOFT), 4, 0.01),
        PRESS[:4],
    )
    fit = fitted(path, TAPED)
    assert by_key(fit)[CARCASS].untold.from_ == (CARCASS_PER_BAR,)
    value, error = fit.carcass_at(1.5e5)
    assert (
        value == pytest.approx(240e3, abs=3.0 * error) and error < 0.1 * value
    )
    assert "# The whole carcass at 1.5 bar is identified" in fragment(fit, "t")


def test_without_slip_the_shear_is_asked_for(tmp_path: Path) -> None:
    """Press and drag test alone: car.toml needs the shear; a commented line says what to measure."""
    path = write(
        tmp_path / "t.csv", DAY, noisy(answers(Invented(), DAY)[:, :5], 5)
    )
    fit = fitted(path, replace(TAPED, noise=TWO_PERCENT))
    assert [one.key for one in fit.missing] == [SHEAR] and not fit.is_whole
    made = fragment(fit, "t")
    assert (
        "# shear_per_foundation: no measured value depends on it enough; cornering_stiffness"
        in made
    )
    assert (
        "INCOMPLETE" in made and SHEAR not in tomllib.loads(made)["tyre"]["t"]
    )


def test_upright_rows_do_not_tell_the_camber_thrust(tmp_path: Path) -> None:
    """No lean, no spin: the share is left out, with its default and what would show it."""
    rows = [
        (load, 0.0, pressure)
        for load in (1500.0, 3000.0, 4500.0, 6000.0)
        for pressure in (1.2, 1.5, 1.8)
    ]
    tyre = replace(Invented(), compliance=0.0)
    path = write(
        tmp_path / "t.csv",
        rows,
        noisy(answers(tyre, rows), 6),
        ("patch_area_mm2", STIFFNESS),
    )
    fit = fitted(path, replace(TAPED, noise={**TWO_PERCENT, **AS_MADE}))
    assert THRUST in untold(fit)
    assert "(left out: 0.5)" in fragment(fit, "t")


def test_least_pressure_is_that_of_rows_that_measure_friction(
    tmp_path: Path,
) -> None:
    """Peaks at 3 kN and more: load over area at 3 kN and the lowest pressure, not where only pressed.

    To 1 %: the area is the fitted one.
    """
    values = pressed(DAY)
    load = np.array([row[0] for row in DAY])
    values[load < 2000.0, QUANTITIES.index(PEAK)] = np.nan
    fit = fitted(write(tmp_path / "t.csv", DAY, values), TAPED)
    means = load / values[:, QUANTITIES.index("patch_area_mm2")]
    assert fit.floor.pressure == pytest.approx(
        means[load > 2000.0].min(), rel=0.01
    )
    tyre = tomllib.loads(fragment(fit, "t"))["tyre"]["t"]
    assert tyre["friction_least_pressure_kPa"] == pytest.approx(
        fit.floor.pressure / 1e3, rel=1e-2
    )


def test_small_slip_measures_friction_by_the_model_alone(
    tmp_path: Path,
) -> None:
    """Curves within half a degree bend a little by friction: that this rests on the model is said."""
    rows = [(load, lean, 1.5, slip) for load in (2000.0, 4000.0) for lean in (-3.0, 0.0, 3.0)
            for slip in (-0.5, -0.25, 0.25, 0.5)]  # fmt: skip
    path = write(
        tmp_path / "t.csv",
        rows,
        noisy(answers(Invented(), rows), 7),
        (CURVE, "patch_area_mm2"),
    )
    fit = fitted(path, TAPED)
    assert fit.floor.used < 0.5
    assert fit.floor.pressure > 0.0
    assert (
        any("no row comes near sliding" in said for said in fit.cautions)
        == fit.has_friction
    )


HEADER = f"load_N,inclination_deg,pressure_bar,{SLIP},{CURVE},{ALIGNING},{PEAK},{STIFFNESS},relaxation_mm"
IMPOSSIBLE = [
    ("3000,0,1.5,,,20,,,", ALIGNING, "slip_angle_deg in the same row"),
    ("3000,0,1.5,,4000,,4100,,", CURVE, "without, it is the peak"),
    ("3000,0,1.5,4,-3000,,,,", CURVE, "turn the sign of the angle round"),
    ("3000,0,1.5,2,3000,-40,,,", ALIGNING, "towards less of a positive angle"),
    ("3000,0,1.5,2,30000,,,,", CURVE, "0 to 6 times the load, 3000 N"),
    (
        "3000,0,1.5,2,,2000,,,",
        ALIGNING,
        "0 to 0.3 times the load times a metre",
    ),
    (
        "3000,0,1.5,,,,,57000,",
        STIFFNESS,
        "0.01 to 3 times the load per degree, 3000 N/deg",
    ),
    ("3000,0,1.5,,,,,,0.21", "relaxation_mm", "looks like m: 210 mm"),
    ("3000,0,1.5,40,,,4000,,", SLIP, "-30 to 30 deg"),
]


@pytest.mark.parametrize(("row", "key", "expected"), IMPOSSIBLE)
def test_other_signs_and_units_are_refused(
    tmp_path: Path, row: str, key: str, expected: str
) -> None:
    """With line and column, and what was likely meant."""
    path = tmp_path / "t.csv"
    path.write_text(f"{HEADER}\n{row}\n")
    with pytest.raises(InputErrors) as refused:
        read_tyre_table(path, Rig())
    (error,) = refused.value.errors
    assert (error.line, error.key) == (2, key)
    assert expected in error.expected


def test_a_lateral_force_without_slip_angle_is_the_peak(tmp_path: Path) -> None:
    """In whichever of the two columns it stands, the table read is the same."""
    values = answers(Invented(), DAY)
    one = read_tyre_table(write(tmp_path / "a.csv", DAY, values, PRESS), Rig())
    values[:, QUANTITIES.index(CURVE)] = values[:, QUANTITIES.index(PEAK)]
    other = read_tyre_table(
        write(tmp_path / "b.csv", DAY, values, (*PRESS[:4], CURVE)), Rig()
    )
    assert (one.values[PEAK] == other.values[PEAK]).all()
    assert np.isnan(other.values[CURVE]).all()
