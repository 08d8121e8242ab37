"""The decimal mark of a language on the axes of a printed figure."""

from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, ScalarFormatter

from dashboard.texts import Words


class _Marked(ScalarFormatter):
    """Format plain numbers as usual, with the language's decimal mark."""

    def __init__(self, words: Words) -> None:
        super().__init__()
        self._words = words

    def __call__(self, x: float, pos: int | None = None) -> str:
        """Return the label of a tick."""
        return self._words.decimals(super().__call__(x, pos))


def mark_decimals(figure: Figure, words: Words) -> None:
    """Let all axes that carry plain numbers speak the language; call it when everything is drawn."""
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            _mark(axis, words)


def _mark(axis: Axis, words: Words) -> None:
    before = axis.get_major_formatter()
    if type(before) is ScalarFormatter:
        axis.set_major_formatter(_Marked(words))
    elif isinstance(before, FuncFormatter):
        axis.set_major_formatter(FuncFormatter(lambda x, pos: words.decimals(str(before(x, pos)))))
