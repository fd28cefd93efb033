"""The rough road in the robustness report."""

from __future__ import annotations

from collections.abc import Iterator

from setupopt.report.prove.fields import JudgedReport
from setupopt.report.prove.road import RoadLine, RoadTable
from setupopt.report.prove.words import degrees
from setupopt.report.shared.tables import (
    INDENT,
    Key,
    keyed_table,
    margin_words,
    number,
    paragraph,
    words,
)
from setupopt.robust.road.spectrum import class_letter
from setupopt.units import DEG, MM, ROUGHNESS

_RMS_DIGITS = {"": 4, "N": 1}


def road_section(judged: JudgedReport, width: int) -> str:
    study = judged.proof.road
    if study is None:
        return "Rough road: every case slides or loses contact, so no ride was computed."
    road = study.plan.road
    source = (
        "measured profile" if study.plan.profile is not None else "random road"
    )
    head = (
        f"Rough road ({source}): {road.coefficient / ROUGHNESS:.3g} 1e-6 m3 at 0.1 cycles/m, ISO 8608 class "
        f"{class_letter(road.coefficient)}, waviness {road.waviness:.2f}; runs of {study.plan.seconds:g} s"
    )
    parts = [paragraph(head, width), *_indices(judged, width)]
    return "\n".join(
        [*parts, *(_ride_table(judged, one, width) for one in judged.roads)]
    )


def _indices(judged: JudgedReport, width: int) -> Iterator[str]:
    """Roughness index of a measured profile, by this program's own step and by the published matrices."""
    for side, (own, published) in zip(
        ("left", "right"), judged.indices, strict=False
    ):
        track = (
            f"{side} track"
            if len(judged.indices) > 1
            else "the only track, used on both sides"
        )
        yield paragraph(
            f"International Roughness Index, {track}: {own:.3f} mm/m; by the published 0.25 m matrices "
            f"{published:.3f} mm/m.",
            width,
            INDENT,
        )


def _chance(share: float) -> str:
    """A share of runs in %; what nobody could count is not written out.

    >>> _chance(0.0), _chance(1e-28), _chance(0.0123)
    ('0', '< 0.001', '1.23')
    """
    return "< 0.001" if 0.0 < share < 1e-5 else f"{100.0 * share:.3g}"


def _ride_table(judged: JudgedReport, road: RoadTable, width: int) -> str:
    place = judged.place(road.row)
    sums = road.ridden.sums
    share, low, high = sums.chance_under()
    fallen, least, most = sums.chance_fallen()
    head = (
        f"Case {place['case']}, {degrees(place)} deg, {place['attitude']}: {sums.rides + sums.lost} rides, "
        f"{sums.seconds:.0f} s. Failed: {_chance(fallen)} % of the rides (95 %: {_chance(least)} to "
        f"{_chance(most)} %); largest drift {sums.drift / MM:.0f} mm, sideslip {sums.sideslip / DEG:.1f} deg "
        f"off the steady one. No verdict: instantaneous margin under the minimum in {_chance(share)} % "
        f"(95 %: {_chance(low)} to {_chance(high)} %), {100 * sums.share_under:.2g} % of the time; by the "
        f"linear answer in {_chance(road.linear_chance)} % of the runs. "
        f"Lowest instantaneous margin {margin_words(sums.least_margin)}."
    )
    keys = [
        words(
            "rms of",
            "quantity",
            lambda name: "instantaneous margin" if name == "margin" else name,
        ),
        _rms("linear", "linear_rms"),
        _rms("in rides", "rms"),
        _rms("95 % from", "low", rank=1),
        _rms("to", "high", rank=1),
        words("unit", "unit"),
        Key(
            "linear is off by %",
            "difference",
            lambda share: number(100.0 * share, 1, sign=True),
        ),
    ]
    why = [paragraph(reason, width, INDENT) for reason in road.why]
    return "\n".join(
        ["", paragraph(head, width), keyed_table(road.lines, keys, width), *why]
    )


def _rms(head: str, key: str, rank: int = 0) -> Key:
    def shown(line: RoadLine) -> str:
        return number(getattr(line, key), _RMS_DIGITS.get(line.unit, 3))

    return Key(head, shown=shown, rank=rank)
