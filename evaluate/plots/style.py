"""The look of plots, and PNG files of them. Shapes and line styles tell apart what colours do, for readers without."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.synth.shared.files import write_bytes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, SOFT, GRID, BAND = "#1e1c19", "#6b675d", "#e4e0d8", "#d9d4c7"
HAND_COLOUR, PRINT_COLOUR = "#b4531f", "#1f5fa8"
COLOURS = (HAND_COLOUR, PRINT_COLOUR, "#3f7d4e", "#7a4a8c", "#8a7a1f", "#4b8a94", "#a03050")
STYLES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (8, 2)), (0, (1, 1)))
MARKS = ("o", "s", "^", "D", "v", "P", "X")
DPI = 120


def line_look(number: int) -> dict[str, Any]:
    """Colour and style of the line of series `number`."""
    return {"color": COLOURS[number % len(COLOURS)], "linestyle": STYLES[number % len(STYLES)], "linewidth": 1.6}


def mark_look(number: int) -> dict[str, Any]:
    """Colour and shape of the marks of series `number`."""
    return {"color": COLOURS[number % len(COLOURS)], "marker": MARKS[number % len(MARKS)], "markersize": 4}


def drawn(draw: Callable[[Axes], None], size: tuple[float, float], *, title: str = "") -> bytes:
    """A plot as PNG, the same bytes each time. size : inches. A legend is shown where a line has a label."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    with rc_context({"font.family": "DejaVu Sans", "font.size": 9.0, "axes.edgecolor": SOFT, "axes.axisbelow": True}):
        figure = Figure(figsize=size, layout="constrained", facecolor="white")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(color=GRID, linewidth=0.6)
        if title:
            axes.set_title(title, color=INK, fontsize=11, loc="left")
        draw(axes)
        if axes.get_legend_handles_labels()[0]:
            axes.legend(fontsize=8, frameon=False)
        stream = io.BytesIO()
        figure.savefig(stream, format="png", dpi=DPI, metadata={"Software": None})
    return stream.getvalue()


def write_plots(folder: Path, plots: Mapping[str, bytes], *, overwrite: bool = False) -> None:
    """Write NAME.png of each, whole or not at all. Raises OutputError."""
    for name, content in plots.items():
        write_bytes(folder / f"{name}.png", content, overwrite=overwrite)
