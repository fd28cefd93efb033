"""A whole proposal for what must be stood. A study: minutes of a core."""

from __future__ import annotations

from dataclasses import replace

import pytest

from setupopt.project import Project
from setupopt.project.limits_model import Require
from setupopt.report.propose.fields import JudgedProposal
from setupopt.search import ProposalOptions, propose
from setupopt.search.objective import objective_of
from setupopt.search.setup_problem import SetupProblem
from setupopt.search.stood_setup import stood_by


def requiring(project: Project, require: Require) -> Project:
    """The project with such a [require]."""
    assert project.limits is not None
    return replace(project, limits=replace(project.limits, require=require))


@pytest.mark.parametrize("more", [1.0, 1.3])
def test_what_must_be_stood_is_stood_everywhere(
    small_bore: Project, more: float
) -> None:
    """So many times what the steady proposal stands: stood at the worst place to 1 %, or said to be broken.

    Standing it costs margin, to the 2e-4 of the search.
    """
    asked = requiring(small_bore, Require(bump=0.01))
    options = ProposalOptions(starts=1, loss=0.0)
    plain = propose(small_bore, options)
    steady = stood_by(
        SetupProblem(
            replace(asked, setup=plain.setup), objective_of(asked.venue)
        ),
        plain.setup,
    )
    project = requiring(small_bore, Require(bump=more * steady.times * 0.01))
    found = propose(project, options)
    required = found.required
    assert required is not None
    broken = [limit.limit for limit in found.broken]
    assert required.proposed.times > 0.99 or "require.bump_mm" in broken
    assert found.margin <= plain.margin + 2e-4
    fields = JudgedProposal(project, options, found, None).as_dict()["required"]
    assert fields["proposed"]["stood"]["bump_mm"]["asked"] == pytest.approx(
        1e3 * more * steady.times * 0.01
    )
    assert [point["times"] for point in fields["front"]][:2] == [0.0, 0.5]
