"""The name of a study: whatever decides its numbers changes it, so that no option continues a stale study."""

from __future__ import annotations

from dataclasses import fields, replace
from operator import attrgetter
from pathlib import Path
from typing import Any

import pytest

from setupopt.project import Project
from setupopt.search.objective import objective_of
from setupopt.search.proposal import ProposalOptions
from setupopt.search.proposing import decisive
from setupopt.search.study_name import study_name

# Another value of every option. A new option must be added here, and makes a new study.
OTHERS: dict[str, Any] = {
    "starts": 5,
    "seed": 1,
    "weights": {"left-hander": 1.5},
    "minimum_margins": {"left-hander": 0.1},
    "keep": ("front.camber_deg",),
    "robust": True,
    "loss": 0.5,
    "study": "sqlite:///other.db",
    "rear_reserve": 0.05,
    "most_growth": 3.0,
    "min_gain": 0.002,
    "raised": "disturbance",
    "least_margin": 0.1,
}
# Where a study is kept, what alternatives may lose, and what is dropped afterwards change nothing in it.
INDIFFERENT = {"loss", "study", "min_gain"}


# What of the options goes into the objective
RAISED = attrgetter("weights", "minimum_margins", "rear_reserve", "most_growth")


def name_of(project: Project, options: ProposalOptions) -> str:
    """The name as `propose` makes it."""
    objective = objective_of(project.venue, *RAISED(options))
    return study_name(project, objective, decisive(options))


@pytest.mark.parametrize(
    "option", [field.name for field in fields(ProposalOptions)]
)
def test_every_option_makes_another_study(option: str, hill: Project) -> None:
    """Each field in turn, those that a later version adds too; the names without a change are equal."""
    value = OTHERS[option]
    if isinstance(value, dict):
        value = {hill.venue.attitudes[0].name: next(iter(value.values()))}
    plain = name_of(hill, ProposalOptions())
    assert plain == name_of(hill, ProposalOptions())
    changed = name_of(hill, replace(ProposalOptions(), **{option: value}))
    assert (changed == plain) == (option in INDIFFERENT)


def test_the_project_makes_the_study(hill: Project) -> None:
    """A setup that differs makes another study; the folder and the cautions do not."""
    options = ProposalOptions()
    plain = name_of(hill, options)
    assert (
        name_of(
            replace(hill, folder=Path("elsewhere"), cautions=("careful",)),
            options,
        )
        == plain
    )
    higher = replace(
        hill.setup, front=replace(hill.setup.front, ride_height=0.06)
    )
    assert name_of(replace(hill, setup=higher), options) != plain
    assert name_of(replace(hill, limits=None), options) != plain


def test_the_order_of_what_is_kept_makes_no_other_study(hill: Project) -> None:
    """The same settings stay."""
    one = ProposalOptions(keep=("front.camber_deg", "body"))
    other = ProposalOptions(keep=("body", "front.camber_deg"))
    assert name_of(hill, one) == name_of(hill, other)
