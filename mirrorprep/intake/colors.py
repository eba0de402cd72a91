"""Vertex colours of any number type as 8-bit red, green, blue, alpha."""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def rgba(channels: list[NDArray[Any]]) -> NDArray[np.uint8]:
    """Return (n, 4) uint8 from three or four columns; a missing alpha is opaque.

    Whole-number types run from 0 to their maximum. Floating columns run from 0 to 1, or to 255 if any
    value exceeds 1; values outside are clipped.

    Examples
    --------
    >>> rgba([np.array([0.0]), np.array([0.5]), np.array([1.0])]).tolist()
    [[0, 128, 255, 255]]
    """
    out = np.full((len(channels[0]), 4), 255, dtype=np.uint8)
    floats = [column for column in channels if column.dtype.kind == "f"]
    bright = max((float(np.nanmax(column, initial=0.0)) for column in floats), default=0.0)
    for place, column in enumerate(channels):
        if column.dtype == np.uint8:
            out[:, place] = column
            continue
        top = (
            (255.0 if bright > 1.0 else 1.0)
            if column.dtype.kind == "f"
            else float(np.iinfo(column.dtype).max)
        )
        scaled = np.nan_to_num(column.astype(np.float64) * (255.0 / top), nan=0.0)
        out[:, place] = np.clip(np.floor(scaled + 0.5), 0, 255).astype(np.uint8)
    return out
