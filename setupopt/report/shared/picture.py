"""What all pictures share: size, letters, the same bytes."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import Any

from setupopt.project.model import Project
from setupopt.report.shared.colours import INK, QUIET
from setupopt.report.shared.tables import cut

_NO_LETTER = re.compile("[\ud800-\udfff\ufffe\uffff]")  # no XML may hold them
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
    "legend.frameon": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "figure.facecolor": "white",
}


@contextmanager
def drawing(
    width: float, height: float, title: str = "", **subplots: Any
) -> Iterator[tuple[Any, Any]]:
    """A figure of so many inches and its axes, in the style of all pictures; it leaves no global state."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context():
        mpl.rcdefaults()  # the user may have settings for other pictures, such as a decimal comma
        mpl.rcParams.update(_STYLE)
        figure = Figure(figsize=(width, height), layout="constrained")
        if title:
            figure.suptitle(title, fontsize=11, x=0.02, ha="left")
        yield figure, figure.subplots(**subplots)


def at_venue(project: Project, note: str, width: int = 46) -> str:
    """The title of a picture: car and venue, and a note below."""
    names = [
        cut(name, width) for name in (project.car.name, project.venue.name)
    ]
    return f"{' at '.join(names)}\n{note} by the model; no clearance to drive"


def crosses(
    axes: Any, at: Any, is_lost: Any, height: float, **style: Any
) -> None:
    """Crosses at a height of the panel, a share of it, where contact is lost."""
    if is_lost.any():
        axes.plot(
            at[is_lost],
            [height] * is_lost.sum(),
            "x",
            transform=axes.get_xaxis_transform(),
            **style,
        )


def hatch_sign(hatch: str, label: str) -> Any:
    """What a hatch means, for a legend."""
    from matplotlib.patches import Patch

    return Patch(facecolor="white", edgecolor=QUIET, hatch=hatch, label=label)


def common_legend(figure: Any, panels: Iterable[Any], **style: Any) -> None:
    """One legend of all panels, with each label once."""
    signs = {
        label: sign
        for panel in panels
        for sign, label in zip(*panel.get_legend_handles_labels(), strict=True)
    }
    figure.legend(signs.values(), signs, **style)


def svg(figure: Any) -> str:
    """The figure as SVG, without a date.

    A viewer shows letters that the font lacks in another font, so matplotlib's warning is not needed.
    """
    _show_all_letters(figure)
    buffer = BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph \d+ .* missing from")
        figure.savefig(
            buffer,
            format="svg",
            metadata={"Date": None, "Creator": "setupopt"},
        )
    return buffer.getvalue().decode("utf-8")


def _show_all_letters(figure: Any) -> None:
    """Replace what no XML may hold, such as the half letters that a file name may have."""
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        if _NO_LETTER.search(text.get_text()):
            text.set_text(_NO_LETTER.sub("\ufffd", text.get_text()))
