"""How far to trust a proposal, in words: what else was tried, what it can be worth at most, build errors."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite, isinf, isnan

from setupopt.project.limits_model import Tolerance
from setupopt.project.model import WHEELS
from setupopt.report.propose.fields import JudgedProposal
from setupopt.report.shared.tables import (
    INDENT,
    Column,
    number,
    significant,
    table,
)
from setupopt.report.shared.words import (
    counted,
    gain_words,
    headed,
    lines,
)
from setupopt.search.handling import BAND, HANDLING, HandlingLimit
from setupopt.search.objective import Objective
from setupopt.search.proposal import Robustness
from setupopt.units import BAR, DEG, MM, PERCENT

# Ends of starts further apart than this are reported as a disagreement.
_AGREE = 0.002
# Where the local search from the independent search ends so much above all starts, they are too few.
_BETTER = 2e-4
# A bound of a box of parts that was exceeded by more than this is reported.
_PASSED = 2e-5


def counted_words(judged: JudgedProposal) -> str:
    """Which margin the search raised."""
    weighted = not (judged.proposal.objective.weights == 1.0).all()
    built = judged.proposal.robustness is not None
    return f"{'weighted ' if weighted else ''}worst margin{' with build errors' if built else ''}"


def trust(judged: JudgedProposal, width: int) -> str:
    """What was tried besides, what a better setup could bring, and what the work cost."""
    parts = (
        _what_is_counted,
        _handling,
        _starts,
        _independent,
        _bound,
        _parts,
        _rounding,
        _cost,
    )
    return headed(
        "How far to trust it",
        lines([part(judged) for part in parts], width, INDENT),
        width,
    )


def _worth(value: float) -> str:
    """A number of the search. Below -1 it is no margin: it says what is missing to contact or limits."""
    return (
        number(value, 4)
        if value > -1.0
        else "no setup that keeps contact and limits"
    )


def _what_is_counted(judged: JudgedProposal) -> str:
    words = counted_words(judged)
    penalty = (
        ""
        if judged.proposal.holds
        else ", less the penalty for broken limits and minimum margins"
    )
    return (
        f"Numbers here: {words}{penalty}."
        if penalty or words != "worst margin"
        else ""
    )


def _handling(judged: JudgedProposal) -> str:
    objective = judged.proposal.objective
    return (
        "Handling: "
        + "; ".join(_handling_words(limit, objective) for limit in HANDLING)
        + "."
    )


def _handling_words(limit: HandlingLimit, objective: Objective) -> str:
    if not limit.is_asked(objective):
        return f"no limit of the {limit.name} ({limit.option})"
    where = (
        f", in cases within {BAND:g} of the worst margin"
        if limit.is_in_band
        else ""
    )
    return f"{limit.name} {limit.sense} {limit.required(objective):g} {limit.unit}{where}"


def _exact(judged: JudgedProposal) -> str:
    return (
        " without build errors"
        if judged.proposal.robustness is not None
        else ""
    )


def _starts(judged: JudgedProposal) -> str:
    e = judged.proposal.evidence
    count = len(e.ends_of_starts)
    best = _worth(e.ends_of_starts[0])
    least = _worth(e.ends_of_starts[-1])
    if count == 1:
        return f"One start ended{_exact(judged)} at {best}: use more --starts to see whether they agree."
    agree = (
        "agree"
        if e.spread_of_starts < _AGREE
        else "DISAGREE: other starts may find a better setup"
    )
    return f"{count} starts ended{_exact(judged)} between {least} and {best}: they {agree}."


def _independent(judged: JudgedProposal) -> str:
    e = judged.proposal.evidence
    better = e.searched_end > e.ends_of_starts[0] + _BETTER
    advice = ", HIGHER than every start: use more --starts" if better else ""
    return (
        f"An independent search of all ranges found{_exact(judged)} {_worth(e.searched)} with "
        f"{e.searched_points} points; a local search from there ended at {_worth(e.searched_end)}{advice}."
    )


def _bound(judged: JudgedProposal) -> str:
    bound = _worth(judged.proposal.evidence.bound)
    return (
        f"No setup inside the limits can be worth more than {bound}, even with parts and steps of any value. "
        "This bound rests on local searches."
    )


def _parts(judged: JudgedProposal) -> str:
    parts = judged.proposal.evidence.parts
    if parts is None:
        return ""
    left = parts.bound - parts.sets[0].bound
    more = "0.0001" if left < 1e-4 else number(left, 4)
    others = f"none of the others is more than {more} better"
    if not parts.is_finished:
        others = f"NOT FINISHED: one of the others may be up to {more} better"
    passed = f" Bounds were exceeded by up to {significant(parts.bound_violation, 2)}."
    return (
        f"Parts: {len(parts.sets)} of {counted(parts.count, 'set')} solved; {others}, by local searches."
        f"{passed if parts.bound_violation > _PASSED else ''}"
    )


def _rounding(judged: JudgedProposal) -> str:
    e = judged.proposal.evidence
    parts = (
        ""
        if e.parts is None
        else f"with parts from the shelf {_worth(e.with_parts)}, "
    )
    return (
        f"With parts and steps of any value {_worth(e.continuous)}, {parts}"
        f"as proposed {_worth(judged.proposal.weighted_margin)}."
    )


def _cost(judged: JudgedProposal) -> str:
    e = judged.proposal.evidence
    return f"{e.steps} steps, {e.evaluations} cases solved, {e.seconds:.1f} s."


# ---- build errors ------------------------------------------------------------------------------------------


def build_errors(judged: JudgedProposal, width: int) -> str:
    """What including build errors costs and gains; empty where they were not requested."""
    r = judged.proposal.robustness
    if r is None:
        return ""
    head = "Build errors within [tolerance] of limits.toml, and what including them costs and gains"
    sentences = lines([*_bargain(judged, r), *_built(r)], width, INDENT)
    return headed(head, f"{sentences}\n{_worst_build(judged, r, width)}", width)


def _bargain(judged: JudgedProposal, r: Robustness) -> Iterator[str]:
    """Price and gain; they mean nothing for a proposal that fails."""
    if not judged.proposal.holds:
        return
    yield (
        f"Without build errors it {_change(-r.price)}, from {_four(r.exact_margin)} to "
        f"{_four(r.robust_margin)}."
    )
    yield (
        f"In the worst build that was found it {_change(r.gain)}, from {_four(r.exact_built)} to "
        f"{_four(r.robust_built)}; both with parts and steps of any value."
    )


def _built(r: Robustness) -> Iterator[str]:
    """What the proposed setup is worth as it may be built."""
    yield (
        f"The proposed setup: {_four(r.margin)} without build errors, {_four(r.built)} in the worst build "
        f"that was found, {_four(r.cloud_least)} in the worst of {r.cloud_count} builds spread over the "
        "tolerance."
    )
    if r.cloud_least < r.built:
        yield "One of those is WORSE than the build that the search found: trust the lower number."


def _four(margin: float) -> str:
    return number(margin, 4) if isfinite(margin) else "contact lost"


def _change(value: float) -> str:
    """A change of the margin; of contact where only one of the two setups keeps it."""
    if isnan(value):
        return "changes nothing"
    if isinf(value):
        return "gains contact" if value > 0.0 else "loses contact"
    return gain_words(value)


def _worst_build(judged: JudgedProposal, r: Robustness, width: int) -> str:
    limits = judged.project.limits
    if limits is None or limits.tolerance is None:
        return ""
    rows = list(_deviations(r.worst_errors, limits.tolerance))
    columns = [Column("off by", [name for name, _ in rows], numeric=False)]
    columns += [
        Column(w.upper(), [f"{off[i]:+g}" for _, off in rows])
        for i, w in enumerate(WHEELS)
    ]
    return f"{INDENT}The worst build that was found\n{table(columns, width)}"


def _deviations(
    errors: dict[str, float], t: Tolerance
) -> Iterator[tuple[str, list[float]]]:
    """What deviates, and by how much at each wheel; ride heights deviate by axle."""
    bounds = {
        "camber deg": t.camber / DEG,
        "spring %": t.spring_share / PERCENT,
        "pressure bar": t.pressure / BAR,
    }
    for name, bound in bounds.items():
        yield (
            name,
            [
                round(bound * errors[f"{name.split()[0]} {wheel}"], 6)
                for wheel in WHEELS
            ],
        )
    by_axle = [errors["ride height front"]] * 2 + [
        errors["ride height rear"]
    ] * 2
    yield (
        "ride height mm",
        [round(t.ride_height / MM * error, 6) for error in by_axle],
    )
