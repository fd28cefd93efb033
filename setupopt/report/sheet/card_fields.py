"""The run card as plain values."""

from __future__ import annotations

from dataclasses import asdict
from operator import itemgetter

import numpy as np

from setupopt.evaluation.result import Field
from setupopt.evaluation.summary import by_angle
from setupopt.project.settings import without_noise
from setupopt.project.stored_proof import proof_extent
from setupopt.report.shared.tables import thinned
from setupopt.sheet.card import RunCard, at_least, at_most
from setupopt.units import DEG

_MOST_ANGLES = 13  # rows of the run card


def card_fields(card: RunCard) -> Field:
    """The run card; figures of a proof are None where exactly this setup has none."""
    window = card.speeds
    proof = card.proof
    verdicts = proof["verdicts"] if proof else []
    return {
        "floor": card.floor,
        "margin": card.margin,
        "contact_lost": card.result.lost(),
        "slides": card.result.sliding(),
        "would_hold": card.would_hold and asdict(card.would_hold),
        "worst": card.worst,
        "attitudes": list(card.result.cases.attitudes),
        "roll_angles_deg": [
            without_noise(angle / DEG)
            for angle in card.result.cases.angles[[0, -1]]
        ],
        "by_angle": _angles(card),
        "speeds_m_s": window and [window.low, window.high],
        "speed_ends": window and [window.below, window.above],
        "driven_m_s": card.project.venue.sweep.speed,
        "proved": proof is not None,
        "proof_holds": proof and proof["holds"],
        "proof_floor": proof and proof["floor"],
        "broken": [v["what"] for v in verdicts if v["holds"] is False],
        "bump": _picked(
            card.bump,
            "bump_mm",
            "bump_length_m",
            "bump_track",
            "roll_angle_deg",
            "attitude",
        ),
        "gust": _picked(
            card.gust, "gust_m_s", "from_deg", "roll_angle_deg", "attitude"
        ),
        "wind": _picked(card.wind, "steady_m_s", "from_deg"),
        "stop_rules": list(card.stop_rules()),
        "ride_modes": card.ride and card.ride.rows,
    }


def proof_effort(card: RunCard) -> str:
    """How much the shown proof tried, in words; empty where there is none, or where it does not say."""
    extent = None if card.proof is None else proof_extent(card.proof)
    return "" if extent is None else str(extent)


def speed_words(card: RunCard) -> dict[str, str]:
    """Every speed of the card in both units, rounded to the safe side; without those that it does not have."""
    found = {"driven": at_most(card.project.venue.sweep.speed)}
    if card.speeds is not None:
        found["low"] = at_least(card.speeds.low)
        found["high"] = at_most(card.speeds.high)
    for name, row, key in (
        ("gust", card.gust, "gust_m_s"),
        ("wind", card.wind, "steady_m_s"),
    ):
        if row is not None and row[key] is not None:
            found[name] = at_most(row[key])
    return found


def _picked(row: Field | None, *names: str) -> Field | None:
    return row and {name: row[name] for name in names}


def _angles(card: RunCard) -> list[Field]:
    """Margin and bump allowance by roll angle: of neighbouring angles the worst."""
    rows = by_angle(card.result)
    bumps: dict[float, float] = {}
    for case in [] if card.proof is None else card.proof["cases"]:
        height = -1.0 if case["bump_mm"] is None else case["bump_mm"]
        bumps[case["roll_angle_deg"]] = min(
            height, bumps.get(case["roll_angle_deg"], np.inf)
        )
    found = [
        {**row, "bump_mm": bumps.get(row["roll_angle_deg"])} for row in rows
    ]
    return thinned(found, _MOST_ANGLES, itemgetter("margin"))
