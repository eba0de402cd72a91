"""A histogram as inline SVG: bins at round numbers, their ends written below, the median marked."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.handover.palette import FAINT, INK, MIRRORED, RULE

_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)
_MOST_BINS: Final = 14
_TICKS: Final = 5
_WIDTH, _HEIGHT, _HEAD, _FOOT = 360, 110, 16, 22


def round_edges(values: ArrayLike, *, step: float = 0.0) -> NDArray[np.float64]:
    """Return edges of equal bins at round numbers that hold every value.

    Parameters
    ----------
    values : (n,) array_like
        Finite numbers, at least one.
    step : float
        Least width of a bin: what the figures can tell apart.

    Returns
    -------
    (m,) float64
        Between 2 and 16 edges.

    Examples
    --------
    >>> round_edges([0.3, 9.2]).tolist()
    [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0]
    """
    low, high = float(np.min(values)), float(np.max(values))
    least = max((high - low) / _MOST_BINS, step, 1e-9 * max(abs(low), abs(high)), 1e-300)
    power = 10.0 ** np.floor(np.log10(least))
    width = next(s * power for s in _STEPS if s * power >= least * (1 - 1e-9))
    first = np.floor(low / width + 1e-9)
    last = max(np.ceil(high / width - 1e-9), first + 1)
    return np.asarray(np.arange(first, last + 1) * width, dtype=np.float64)


def histogram_svg(values: ArrayLike, *, label: str = "histogram", step: float = 0.0) -> str:
    """Return a histogram with its scale below and the median as an upright line.

    Parameters
    ----------
    values : (n,) array_like
        Finite numbers, at least one.
    label : str
        What a reader without the picture is told; plain text without markup.
    step : float
        Least width of a bin.

    Examples
    --------
    >>> histogram_svg([1.0, 2.0, 2.0]).startswith("<svg")
    True
    """
    edges = round_edges(values, step=step)
    counts, _ = np.histogram(values, bins=edges)
    scale = _WIDTH / (edges[-1] - edges[0])
    tall = _HEIGHT / max(int(counts.max()), 1)
    bars = "".join(
        f'<rect x="{(edge - edges[0]) * scale + 1:.1f}" y="{_HEAD + _HEIGHT - n * tall:.1f}" '
        f'width="{(edges[1] - edges[0]) * scale - 2:.1f}" height="{n * tall:.1f}" fill="{MIRRORED}"/>'
        for edge, n in zip(edges[:-1].tolist(), counts.tolist(), strict=True)
        if n
    )
    most = f'<text x="0" y="{_HEAD - 4}" font-size="12" fill="{FAINT}">{counts.max()}</text>'
    base = f'<path d="M0 {_HEAD + _HEIGHT + 0.5}h{_WIDTH}" stroke="{RULE}"/>'
    middle = (float(np.median(np.asarray(values))) - edges[0]) * scale
    median = f'<path d="M{middle:.1f} {_HEAD}v{_HEIGHT}" stroke="{INK}" stroke-width="2"/>'
    return (
        f'<svg viewBox="0 0 {_WIDTH} {_HEAD + _HEIGHT + _FOOT}" role="img" aria-label="{label}">'
        f"{most}{bars}{base}{median}{_scale(edges, scale)}</svg>"
    )


def _scale(edges: NDArray[np.float64], scale: float) -> str:
    every = -(-(len(edges) - 1) // _TICKS)
    words = []
    for edge in edges[::every]:
        place = (edge - edges[0]) * scale
        anchor = "start" if place < 1 else "end" if place > _WIDTH - 1 else "middle"
        words.append(
            f'<text x="{place:.1f}" y="{_HEAD + _HEIGHT + 16}" text-anchor="{anchor}" font-size="12" '
            f'fill="{INK}">{_plain(edge)}</text>'
        )
    return "".join(words)


def _plain(value: float) -> str:
    """Return a round number without an exponent."""
    return np.format_float_positional(float(f"{value:.6g}"), trim="-")
