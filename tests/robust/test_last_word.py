"""Rides as the last word: the height that is told is stood, and a higher one is not."""

from __future__ import annotations

import numpy as np

from setupopt.evaluation.cases import sweep_cases
from setupopt.physics.ride_run import STOOD
from setupopt.project import Project
from setupopt.robust.bump import BumpRides
from setupopt.robust.last_word import ridden
from setupopt.robust.linear_stood import VARIANTS


def test_the_height_that_is_told(bore: Project) -> None:
    """Over every variant of a bump; 2/32 of what is asked higher, one is not stood. No trim: nothing is."""
    cases = sweep_cases(bore.venue, np.radians([150.0])).pick([0])
    asked = 0.02
    told = ridden(BumpRides(bore, bore.setup, cases), "bump", asked)
    assert 0.0 < told < 2.0 * asked, "or the next line shows nothing"
    model = BumpRides(bore, bore.setup, cases)
    stood = [
        all(
            model.cross(0, one._replace(height=height))["reason"][0] == STOOD
            for one in VARIANTS["bump"]
        )
        for height in (told, told + 2.1 / 32.0 * asked)
    ]
    assert stood == [True, False]
