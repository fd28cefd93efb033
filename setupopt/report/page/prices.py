"""Prices of limits and the picture of trade-offs for a setup of which the project keeps none of `propose`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from setupopt.evaluation.report_data import Report
from setupopt.evaluation.result import finite
from setupopt.project.checksum import project_checksum
from setupopt.project.stored_prices import PICTURE
from setupopt.project.writing import setup_as_dict
from setupopt.report.propose.fields import price_rows
from setupopt.report.propose.picture import tradeoff_svg
from setupopt.search.engine.batch import silent
from setupopt.search.local_prices import local_prices
from setupopt.search.proposal import ComparedSetup

NEARBY = "best near"


def beside_today(own: ComparedSetup) -> ComparedSetup:
    """The same with a project that stands on today's setup, as `tradeoff` takes it; the search stood on `own`."""
    return replace(own, project=replace(own.project, setup=own.today.setup))


def with_prices(
    report: Report, progress: Callable[[str], object] = silent
) -> Report:
    """The report with kept prices, else with those of the best setup near its target, where limits.toml has any."""
    if report.prices is not None:
        return report
    margin = report.target.assessment.margin
    if margin is None or margin < 0.0:
        return report  # near a setup that does not hold a search takes minutes
    found = local_prices(report.today.project, report.target.project, progress)
    if found is None:
        return report
    progress("trade-offs")
    picture = (
        tradeoff_svg(beside_today(found.own))
        if report.proposed
        else tradeoff_svg(found.near, name=NEARBY)
    )
    project = report.target.project
    answer = {
        "project_checksum": project_checksum(project),
        "setup": setup_as_dict(project.setup),
        "holds": found.near.holds,
        "limit_prices": price_rows(found.prices),
        "near": finite(found.near.margin),
        PICTURE: picture,
    }
    return replace(report, prices=answer)
