"""Rising-level analysis: where a liquid that fills a cavity from below traps air.

Air is trapped at a summit of the cavity from which no path leads to an opening without going down below the
level that the liquid has reached; the trapped volume is what lies above the saddle on the best such path.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.geometry.cavity_columns import (
    CavityColumns,
    cavity_columns,
    neighbour_links,
    require_closed,
    upright_frame,
    used_vertices,
)
from mirrorprep.geometry.rising_level import (
    Links,
    Opening,
    air_left_mm3,
    connected_air,
    escape_levels,
    touched_by,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

COLUMNS_ACROSS = 320
MOST_COLUMNS_ACROSS = 1024
FRACTIONS = (0.10, 0.25, 0.50, 0.75, 1.00)


@dataclass(frozen=True, slots=True, kw_only=True)
class AirPocket:
    """One place where air gathers.

    Attributes
    ----------
    volume_mm3 : float
        Air above the saddle.
    summit_mm : tuple of 3 floats
        Highest point of the cavity there among the columns, on its surface: the place for a vent.
    summit_height_mm, saddle_height_mm : float
        Heights along up, measured from the origin of the coordinates.
    vented : bool
        True when an opening other than the first lets this air out; the volume is then what would be
        trapped without it.
    isolated : bool
        True when this part of the cavity is not joined to any opening at all: it stays empty.
    """

    volume_mm3: float
    summit_mm: tuple[float, float, float]
    summit_height_mm: float
    saddle_height_mm: float
    vented: bool
    isolated: bool = False

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "volume_mm3": self.volume_mm3,
            "vented": self.vented,
            "summit_mm": list(self.summit_mm),
            "summit_height_mm": self.summit_height_mm,
            "saddle_height_mm": self.saddle_height_mm,
            "isolated": self.isolated,
        }


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class AirAnalysis:
    """Where air stays when the cavity is filled.

    Attributes
    ----------
    pockets : tuple of AirPocket
        Unvented pockets first, each group by falling volume; smaller ones than asked for are left out.
    trapped_mm3 : float
        All air that stays, small pockets included.
    volume_mm3 : float
        Volume of the cavity as sampled by the columns.
    idle_openings : tuple of int
        Openings that do not touch the cavity.
    columns : CavityColumns
        The columns analysed.
    escape_mm : (n,) float64
        For each piece of a column, the level above which its air stays (minus infinity where isolated).
    """

    pockets: tuple[AirPocket, ...]
    trapped_mm3: float
    volume_mm3: float
    idle_openings: tuple[int, ...]
    columns: CavityColumns
    escape_mm: FloatArray

    @property
    def unvented(self) -> tuple[AirPocket, ...]:
        """Pockets whose air stays."""
        return tuple(pocket for pocket in self.pockets if not pocket.vented)

    @property
    def filled_to_mm(self) -> FloatArray:
        """Height to which each piece of a column fills in the end, shape (n,)."""
        return np.clip(self.escape_mm, self.columns.bottom_mm, self.columns.top_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelState:
    """The cavity when the liquid stands at one level.

    Attributes
    ----------
    fraction : float
        Share of the liquid that will be in the cavity in the end.
    level_mm : float
        Height of the liquid along up.
    liquid_mm3, open_air_mm3, sealed_air_mm3 : float
        Liquid; air that can still leave; air already cut off.
    sealed : tuple of (float, float, float)
        Summits of the unvented pockets already cut off.
    """

    fraction: float
    level_mm: float
    liquid_mm3: float
    open_air_mm3: float
    sealed_air_mm3: float
    sealed: tuple[tuple[float, float, float], ...]


def trapped_air(
    vertices: FloatArray,
    faces: IntArray,
    *,
    up: ArrayLike,
    openings: Sequence[Opening] = (),
    spacing_mm: float | None = None,
    smallest_mm3: float = 0.5,
) -> AirAnalysis:
    """Find the air that a rising liquid traps in a cavity.

    Parameters
    ----------
    vertices : (n, 3) float64
        Positions in mm of the cavity joined with its channels.
    faces : (m, 3) int64
        Closed, counter-clockwise from outside.
    up : (3,) array_like
        Against gravity while pouring.
    openings : sequence of (point, radius)
        Where air leaves, in mm: the top of the sprue first, then those of the vents. Without any, the
        highest point of the cavity counts as the sprue.
    spacing_mm : float, optional
        Distance between columns; by default 1/320 of the cavity's width, finer where an opening is small.
    smallest_mm3 : float, optional
        Pockets below this volume are counted in `trapped_mm3` but not listed.

    Returns
    -------
    AirAnalysis
        Pockets, volumes and the data for pictures of the level.

    Raises
    ------
    NotASolidError
        If the mesh is not closed or is inside out.
    UsageError
        If `up` is not a direction.

    Notes
    -----
    Two overlapping pieces of neighbouring columns are joined as long as the level is below the lower of
    their tops, so the level at which a piece's air is cut off is the widest (max-min) path to an opening. A
    maximum spanning tree holds all such paths: it is the tree that union-find builds from the top down
    (J. B. Kruskal 1956; T. C. Hu, "The maximum capacity route problem", Operations Research 9 (1961)
    898-900). Heights are exact along columns; volumes carry the sampling error of the grid. The liquid is
    taken to rise slowly and level: splashing, surface tension and bubbles under a flat ceiling are not
    seen.

    Examples
    --------
    >>> from mirrorprep.solid.primitives import box
    >>> plate, tall = box([40, 20, 5]), box([6, 6, 30], center_mm=[-12, 0, 15])
    >>> stool = plate + tall + box([6, 6, 20], center_mm=[12, 0, 10])
    >>> air = trapped_air(stool.mesh.vertices, stool.mesh.faces, up=(0, 0, 1))
    >>> [round(pocket.volume_mm3 / 630, 1) for pocket in air.pockets]
    [1.0]
    """
    require_closed(vertices, faces)
    points = used_vertices(vertices, faces)
    spacing = default_spacing_mm(points, up, openings) if spacing_mm is None else spacing_mm
    columns = cavity_columns(vertices, faces, up=up, spacing_mm=spacing)
    return analyse_columns(columns, openings, smallest_mm3=smallest_mm3)


def analyse_columns(
    columns: CavityColumns,
    openings: Sequence[Opening],
    *,
    smallest_mm3: float = 0.5,
    links: Links | None = None,
) -> AirAnalysis:
    """Return what `trapped_air` finds, for columns that are used more than once.

    Parameters
    ----------
    columns : CavityColumns
        The cavity.
    openings, smallest_mm3
        As in `trapped_air`.
    links : pair of (e,) int64, optional
        From `neighbour_links`, when already known.
    """
    links = neighbour_links(columns) if links is None else links
    touched, idle = touched_by(columns, links, openings)
    escape = escape_levels(columns, links, touched)
    alone = escape_levels(columns, links, touched[:1]) if len(touched) > 1 else escape
    escape = np.where(np.isneginf(alone), alone, escape)
    pockets = _pockets(columns, links, escape)
    if len(touched) > 1:
        pockets += _pockets(columns, links, alone, vented_to=escape)
    return AirAnalysis(
        pockets=tuple(pocket for pocket in pockets if pocket.volume_mm3 >= smallest_mm3),
        trapped_mm3=float(air_left_mm3(columns, escape).sum()),
        volume_mm3=columns.volume_mm3,
        idle_openings=idle,
        columns=columns,
        escape_mm=escape,
    )


def level_states(analysis: AirAnalysis, fractions: Sequence[float] = FRACTIONS) -> tuple[LevelState, ...]:
    """Return the level and the air at given shares of the filling.

    Parameters
    ----------
    analysis : AirAnalysis
        From `trapped_air`.
    fractions : sequence of float
        Shares of the final liquid, 0 to 1.

    Returns
    -------
    tuple of LevelState
        In the order asked for.
    """
    columns, final = analysis.columns, analysis.filled_to_mm
    area = columns.spacing_mm**2
    heights = np.concatenate([columns.bottom_mm, final])
    rise = np.repeat([area, -area], len(final))
    order = np.argsort(heights, kind="stable")
    heights = heights[order]
    flow = np.cumsum(rise[order])[:-1]
    liquid = np.concatenate([[0.0], np.cumsum(flow * np.diff(heights))])
    states = []
    for fraction in fractions:
        wanted = fraction * liquid[-1]
        place = int(np.clip(np.searchsorted(liquid, wanted), 1, len(liquid) - 1))
        step = float(liquid[place] - liquid[place - 1])
        share = (wanted - float(liquid[place - 1])) / step if step > 0.0 else 1.0
        level = float(heights[place - 1] + share * (heights[place] - heights[place - 1]))
        states.append(_state(analysis, float(fraction), level, wanted))
    return tuple(states)


def _state(analysis: AirAnalysis, fraction: float, level: float, liquid: float) -> LevelState:
    sealed = float(air_left_mm3(analysis.columns, analysis.escape_mm)[analysis.escape_mm < level].sum())
    return LevelState(
        fraction=fraction,
        level_mm=level,
        liquid_mm3=float(liquid),
        open_air_mm3=max(0.0, analysis.volume_mm3 - float(liquid) - sealed),
        sealed_air_mm3=sealed,
        sealed=tuple(p.summit_mm for p in analysis.unvented if p.saddle_height_mm < level),
    )


def default_spacing_mm(points: FloatArray, up: ArrayLike, openings: Sequence[Opening]) -> float:
    """Return 1/320 of the width across `up`, finer where an opening is small."""
    plan = points @ upright_frame(up)[:2].T
    width = float(np.ptp(plan, axis=0).max())
    radii = [radius / 1.5 for _, radius in openings if radius > 0.0]
    return float(np.clip(min([width / COLUMNS_ACROSS, *radii]), width / MOST_COLUMNS_ACROSS, None))


def _pockets(
    columns: CavityColumns,
    links: Links,
    escape: FloatArray,
    *,
    vented_to: FloatArray | None = None,
) -> list[AirPocket]:
    """Return the pockets that `escape` leaves; with `vented_to`, what it lets out of them instead."""
    labels = connected_air(columns, links, escape)
    pieces = np.flatnonzero(columns.top_mm > escape)
    air = air_left_mm3(columns, escape)
    if vented_to is not None:
        pieces = pieces[np.isin(labels[pieces], labels[vented_to > escape])]
        air = air - air_left_mm3(columns, vented_to)
    if len(pieces) == 0:
        return []
    _, label = np.unique(labels[pieces], return_inverse=True)
    volume = np.bincount(label, weights=air[pieces])
    floor = np.full(len(volume), np.inf)
    np.minimum.at(floor, label, columns.bottom_mm[pieces])
    summit = _summits(columns, pieces, label)
    points = columns.points_mm(summit, columns.top_mm[summit])
    pockets = [
        AirPocket(
            volume_mm3=float(volume[i]),
            summit_mm=(float(points[i, 0]), float(points[i, 1]), float(points[i, 2])),
            summit_height_mm=float(columns.top_mm[piece]),
            saddle_height_mm=float(max(floor[i], escape[piece])),
            vented=vented_to is not None,
            isolated=bool(np.isneginf(escape[piece])),
        )
        for i, piece in enumerate(summit.tolist())
    ]
    return sorted(pockets, key=lambda pocket: -pocket.volume_mm3)


def _summits(columns: CavityColumns, pieces: IntArray, label: IntArray) -> IntArray:
    """Return for each pocket its highest piece; on a level top the one nearest to the middle of it."""
    top, plan = columns.top_mm[pieces], columns.plan_mm[pieces]
    highest = np.full(int(label.max()) + 1, -np.inf)
    np.maximum.at(highest, label, top)
    crest = np.flatnonzero(top >= highest[label] - 1e-3 * columns.spacing_mm)
    of = label[crest]
    total = np.stack([np.bincount(of, weights=plan[crest, k]) for k in (0, 1)], axis=1)
    middle = total / np.bincount(of)[:, None]
    away = np.linalg.norm(plan[crest] - middle[of], axis=1)
    order = np.lexsort((away, of))
    return np.asarray(pieces[crest[order[np.flatnonzero(np.diff(of[order], prepend=-1))]]])
