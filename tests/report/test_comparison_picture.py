"""The picture and the texts of a comparison: complete, the same bytes, nothing told by colour alone."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest

import setupopt
from setupopt.project import Project
from setupopt.project.model import Body
from setupopt.report.compare.fields import JudgedComparison
from setupopt.report.compare.picture import comparison_svg
from setupopt.report.compare.text import text
from setupopt.search.comparison import ComparisonOptions, compare

from .svgs import hatches, words

SETUPS = Path(__file__).resolve().parents[2] / "setups"
ODD = r"=Car $\frac{1$ & <b>"


@pytest.fixture(scope="module")
def bore() -> Project:
    """At every ninth angle, with its three bodies."""
    project = setupopt.load(SETUPS / "bore")
    sweep = replace(project.venue.sweep, step=9.0 * project.venue.sweep.step)
    return replace(project, venue=replace(project.venue, sweep=sweep))


def judged(project: Project, floor: float | None = None) -> JudgedComparison:
    """Every body with today's setup."""
    return JudgedComparison(
        compare(project, options=ComparisonOptions(as_is=True)), True, 2, floor
    )


def slowed(project: Project) -> Project:
    """The same bore at a speed at which contact is lost."""
    return replace(
        project,
        venue=replace(
            project.venue, sweep=replace(project.venue.sweep, speed=44.0)
        ),
    )


@pytest.fixture(scope="module")
def found(bore: Project) -> JudgedComparison:
    """All bodies hold everywhere."""
    return judged(bore)


def frames(svg: str) -> int:
    """Heavy dark rectangles without a filling, the legend's own among them."""
    return len(
        re.findall(
            r"fill: ?(?:none|#ffffff); stroke: ?#1d2b3a; stroke-width: ?1.8",
            svg,
        )
    )


def many(project: Project, count: int) -> Project:
    """So many bodies of nearly the same air loads, with long names."""
    air = project.car.air

    def body(number: int) -> Body:
        elements = tuple(
            replace(
                e,
                free_area=e.free_area * (1.0 + 1e-4 * number),
                ground_area=e.ground_area,
            )
            for e in air.elements
        )
        return Body(
            f"{number:02d} another floor of a long name".ljust(40, "x"),
            replace(air, elements=elements),
            (),
        )

    return replace(
        project, bodies=tuple(body(number) for number in range(1, count))
    )


# ---- picture -----------------------------------------------------------------------------------------------


def test_every_margin_is_printed_in_its_cell(found: JudgedComparison) -> None:
    """Rows of names, heads of attitudes, and a number for each pair and for the worst of all."""
    told = words(comparison_svg(found))
    for line in found.lines:
        assert any(line.body in word for word in told)
        for margin in (line.contender.margin, *line.contender.by_attitude):
            assert f"{margin:.3f}" in told
    heads = "".join(told).replace(" ", "")
    assert all(
        attitude.name.replace(" ", "") in heads
        for attitude in found.project.venue.attitudes
    )
    assert (
        "nowhere best" in told
        and "by the model; no clearance to drive" in " ".join(told)
    )


def test_the_best_of_every_attitude_is_framed(found: JudgedComparison) -> None:
    """As many frames as bests, and the one that explains them."""
    bests = sum(line.best_in for line in found.lines)
    assert frames(comparison_svg(found)) == bests + 1


def test_lost_contact_is_hatched_and_named(
    bore: Project, found: JudgedComparison
) -> None:
    """A hatch behind the cells, its sign beside them, and a word; none where contact is kept everywhere."""
    lost = comparison_svg(judged(slowed(bore)))
    kept = comparison_svg(found)
    assert "lost" in words(lost) and "contact lost" in words(lost)
    assert "lost" not in words(kept) and "contact lost" not in words(kept)
    assert (hatches(lost), hatches(kept)) == (2, 0)


def test_all_lost_is_a_picture_too(bore: Project) -> None:
    """At walking pace nothing holds inverted: no margin at all to make a scale of."""
    slow = replace(
        bore.venue, sweep=replace(bore.venue.sweep, speed=5.0, start=3.0)
    )
    told = words(comparison_svg(judged(replace(bore, venue=slow))))
    assert told.count("lost") == 3 * (1 + len(bore.venue.attitudes))


def test_twenty_rows_of_long_names_fit(bore: Project) -> None:
    """Every row is there, and rows are no closer than their letters are high."""
    svg = comparison_svg(judged(many(bore, 20)))
    assert (
        sum(
            word.startswith(tuple(f"{n}  " for n in range(1, 21)))
            for word in words(svg)
        )
        == 20
    )
    height = float(re.search(r'height="([\d.]+)pt"', svg)[1])  # type: ignore[index]
    assert 20 * 12.0 < height < 1200.0  # letters of 8 points, and one page


def test_any_name_is_shown_as_it_is_typed(bore: Project) -> None:
    """Letters that mean something to formulas or to XML."""
    odd = replace(
        bore,
        car=replace(bore.car, name=ODD),
        setup=replace(bore.setup, name=ODD),
    )
    told = words(comparison_svg(judged(odd)))
    assert any(word.startswith(ODD) for word in told)
    assert any(word.endswith(ODD) for word in told)


def test_the_same_comparison_gives_the_same_bytes(
    found: JudgedComparison,
) -> None:
    """No date, no random names."""
    assert comparison_svg(found) == comparison_svg(found)


# ---- texts -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [80, 160])
def test_texts_keep_to_their_width_and_say_what_is_lost(
    bore: Project, width: int
) -> None:
    """Twenty bodies, some of which lose contact: no line too long, every body, every reason."""
    lost = judged(slowed(many(bore, 20)), 0.1)
    told = text(lost, width)
    assert max(map(len, told.splitlines())) <= width
    assert "CONTACT LOST" in told and ": FAIL" in told and "nowhere" in told
    reasons = told[
        told.index("Why each loses") : told.index("Worst margin of every")
    ]
    assert (
        sum(
            line.startswith("  ") and line[2:4].strip().isdigit()
            for line in reasons.splitlines()
        )
        == 19
    )


def test_reasons_are_told_in_words(found: JudgedComparison) -> None:
    """Cause, how much more, where, and how far behind; each attitude's margin with a mark at the best."""
    told = " ".join(text(found, 160).split())
    for line in found.lines[1:]:
        reason = line.reason
        assert (
            reason is not None
            and reason.more is not None
            and reason.behind is not None
        )
        wanted = f"{reason.more:.3f} more to the {reason.cause} at {reason.roll_angle_deg:g} deg"
        assert (
            f"{wanted}, {reason.attitude}, {reason.behind:.3f} behind in all"
            in told
        )
    for line in found.lines:
        for margin, best in zip(
            line.contender.by_attitude, line.is_best, strict=True
        ):
            assert (f" {margin:.3f}*" in told) >= best


def test_csv_has_a_row_for_every_pair_and_no_formula(bore: Project) -> None:
    """Names that a spreadsheet would run are made harmless; numbers come back to the last digit."""
    odd = judged(replace(slowed(bore), setup=replace(bore.setup, name="=1+1")))
    rows = list(csv.DictReader(io.StringIO(odd.csv_text())))
    assert len(rows) == 3 * len(bore.venue.attitudes)
    assert {row["setup"] for row in rows} == {"'=1+1"}
    margins = [
        margin
        for line in odd.lines
        for margin in line.contender.by_attitude.tolist()
    ]
    read = [float(row["margin"] or "-inf") for row in rows]
    assert read == margins
    assert {row["nowhere_best"] for row in rows} <= {"true", "false"}
