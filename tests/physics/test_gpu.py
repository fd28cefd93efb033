"""The sweep on an NVIDIA card against the processor's; skipped where there is no card."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from cars import load_cases, venue

from physics.test_sweep import CASES, MODEL, SETTINGS, same
from setupopt.physics import gpu, sweep
from setupopt.physics.inputs import Records

NO_CARD = gpu.missing()
on_card = pytest.mark.skipif(bool(NO_CARD), reason=f"no card: {NO_CARD}")


def on_the_card() -> Records:
    """Answers of the batch, in which cars hold, slide and are lost."""
    return gpu.run(MODEL.packed, SETTINGS, CASES.records, lambda _: None)


@on_card
def test_the_card_has_the_processors_margins() -> None:
    """To 1e-9: the card may join a product and a sum into one step.

    Where the path of falling friction breaks off, or contact is lost, the answer is the last point that was
    found: the end of a search by halves.
    """
    here = sweep.run(MODEL.packed, SETTINGS, CASES.records)
    card = on_the_card()
    np.testing.assert_array_equal(card["contact"], here["contact"])
    has_end = here["null"][:, 0] != 0.0
    assert has_end.mean() > 0.5
    apart = np.abs(card["search_margin"] - here["search_margin"])
    assert apart[has_end].max() < 1e-9
    assert apart.max() < 1e-5


@on_card
def test_pieces_do_not_matter_on_the_card(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Large sweeps come back in pieces."""
    whole = on_the_card()
    monkeypatch.setattr(gpu, "AT_A_TIME", 33)
    assert same(on_the_card(), whole)


class _Card:
    """Stands for numba.cuda: compiles nothing, and marks what it was given."""

    def jit(self, device: bool) -> Any:
        return lambda body: SimpleNamespace(body=body, compile_device=None)


def test_copies_for_the_card_use_copies_alone() -> None:
    """Without a card: every kernel that a copy names is a copy, in its own module and in those it calls."""
    copies = gpu._Copies(_Card())
    copies.module(sweep.__name__)
    assert {"setupopt.physics.newton", "setupopt.physics.brush"} <= set(
        copies.modules
    )
    for module in copies.modules.values():
        for name, value in vars(module).items():
            assert not hasattr(value, "py_func"), name
            if isinstance(value, SimpleNamespace):
                assert value.body.__globals__ is vars(
                    copies.modules[value.body.__module__]
                )


def test_only_large_sweeps_go_to_the_card(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where it is asked for; small sweeps, those of a search and by slope stay with the processor."""
    seen = []
    monkeypatch.setattr(gpu, "run", lambda *given: seen.append(given))
    monkeypatch.setattr(sweep, "_LEAST_ON_CARD", 30)
    cases = load_cases(
        venue(1.0 / 30.0), roll_angle=np.linspace(0.0, 1.0, 8), speed=60.0
    ).records
    sweep.run(MODEL.packed, SETTINGS, cases)
    monkeypatch.setenv(sweep.ON_CARD, "1")
    sweep.run(MODEL.packed, SETTINGS, cases, quick=True)
    few = sweep.run(MODEL.packed, SETTINGS[:2], cases)
    sweep.run(MODEL.packed, SETTINGS, cases, few[: cases.size], by_slope=True)
    assert not seen
    sweep.run(MODEL.packed, SETTINGS, cases)
    assert len(seen) == 1
