"""What all pictures share: size, letters, lines that print tells apart, the same bytes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

INK, SECOND, WARNING, QUIET = "#1d2b3a", "#0f7c6c", "#b4431f", "#8a8f96"
_STYLE: Any = {
    "svg.hashsalt": "setupopt",  # names of clip paths must not be random
    "svg.fonttype": "none",  # text stays text
    "font.family": "sans-serif",
    "font.size": 10.0,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "figure.facecolor": "white",
}


@contextmanager
def drawing(width: float, height: float, **subplots: Any) -> Iterator[tuple[Any, Any]]:
    """A figure of so many inches and its axes, in the house's style; no window, no global state left."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(width, height), layout="constrained")
        yield figure, figure.subplots(**subplots)


def svg(figure: Any) -> str:
    """The figure as SVG, without a date."""
    buffer = BytesIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": "setupopt"})
    return buffer.getvalue().decode("utf-8")
