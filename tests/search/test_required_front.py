"""How many times what is asked can be stood: bracketed, with searches that are stood in for."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from setupopt.search import required_front
from setupopt.search.required_front import TIMES, FrontPoint, most_times


def searched(stands: float, monkeypatch: pytest.MonkeyPatch) -> float:
    """What is found for a car that stands so many times what is asked, and no more."""

    def front(root: Any, least: float, times: Any, progress: Any) -> Any:
        return [
            FrontPoint(one, 0.3, one <= stands, SimpleNamespace())  # type: ignore[arg-type]
            for one in times
        ]

    monkeypatch.setattr(required_front, "front", front)
    monkeypatch.setattr(required_front, "rides_agree", lambda *_: True)
    points = front(None, 0.0, TIMES, None)
    root: Any = SimpleNamespace(problem=None)
    found, tried = most_times(root, points, 0.1, lambda _: None)
    assert [p.times for p in tried] == sorted(p.times for p in tried)
    return found


@pytest.mark.parametrize("stands", [0.3, 1.2, 2.9, 3.7, 11.0, 50.0])
def test_it_ends_within_an_eighth_of_the_last_bracket(
    stands: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Never more than is stood; beyond the front it doubles, so that it is within an eighth of what is stood.

    Without going beyond it, a car that stands 11 times as much was proposed for 3.
    """
    found = searched(stands, monkeypatch)
    assert stands - max(0.125, 0.125 * stands) <= found <= stands


def test_it_ends_where_everything_is_stood(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A car that nothing upsets: 64 times or somewhat more is enough to say."""
    assert searched(1e9, monkeypatch) >= required_front._MOST_TIMES
