"""What all pictures share: size, letters, lines that print tells apart, the same bytes."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

_NO_LETTER = re.compile("[\ud800-\udfff\ufffe\uffff]")  # no XML may hold them
INK, SECOND, WARNING, QUIET = "#1d2b3a", "#0f7c6c", "#b4431f", "#8a8f96"
_STYLE: Any = {
    "svg.hashsalt": "setupopt",  # names of clip paths must not be random
    "svg.fonttype": "none",  # text stays text
    "text.parse_math": False,  # a name may hold a "$"
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

    with mpl.rc_context():
        mpl.rcdefaults()  # not what the user has set for pictures of his own, a decimal comma least of all
        mpl.rcParams.update(_STYLE)
        figure = Figure(figsize=(width, height), layout="constrained")
        yield figure, figure.subplots(**subplots)


def svg(figure: Any) -> str:
    """The figure as SVG, without a date.

    Letters that its font lacks are shown in another one by whatever shows the picture: no word of them.
    """
    _show_all_letters(figure)
    buffer = BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph \d+ .* missing from")
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": "setupopt"})
    return buffer.getvalue().decode("utf-8")


def _show_all_letters(figure: Any) -> None:
    """A name of a file may hold half a letter, which can neither be drawn nor written."""
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        if _NO_LETTER.search(text.get_text()):
            text.set_text(_NO_LETTER.sub("\ufffd", text.get_text()))
