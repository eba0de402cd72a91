"""Sprue, pouring cup and vents, in the parting surface so that they release."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mirrorprep.errors import UsageError
from mirrorprep.geometry.air_pockets import AirAnalysis, trapped_air
from mirrorprep.geometry.pour_direction import best_pour_direction, directions_in_plane
from mirrorprep.geometry.vent_places import place_vents
from mirrorprep.mould.frame import MouldFrame
from mirrorprep.mould.parting_guide import Guide
from mirrorprep.mould.settings import MouldSettings
from mirrorprep.solid.section import Section, hull_section, hull_solid, merged
from mirrorprep.solid.solid import Solid, union

FloatArray = NDArray[np.float64]

CHANNEL_DRAFT_DEG = 2.0
"""Widening of sprue and vents toward the outside, per side: common practice, no source."""

SIDES = 24
_UP = (0.0, 1.0, 0.0)
_LEAST_ACROSS = 0.1
_BEYOND_MM = 1.0
_LED_MM = 4.0
_STEEPEST = 2.0
_LEVEL_MM = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One tapered channel that runs up in the parting surface, in mould coordinates.

    Attributes
    ----------
    kind : str
        ``sprue`` or ``vent``.
    mouth_mm : (float, float, float)
        The point of the cavity that it serves.
    axis_w_mm : float
        Height of the channel's axis along the pull: that of the parting surface there.
    start_v_mm, stop_v_mm : float
        Where it starts (inside the cavity) and where it opens at the top.
    start_radius_mm, stop_radius_mm : float
        Radii at both ends, without the cup.
    cup_radius_mm, cup_depth_mm : float
        Pouring cup at the top; 0 for none.
    """

    kind: str
    mouth_mm: tuple[float, float, float]
    axis_w_mm: float
    start_v_mm: float
    stop_v_mm: float
    start_radius_mm: float
    stop_radius_mm: float
    cup_radius_mm: float = 0.0
    cup_depth_mm: float = 0.0

    @property
    def gate_mm(self) -> tuple[float, float, float]:
        """Where the channel opens into the cavity."""
        return self.mouth_mm

    @property
    def outlet_mm(self) -> tuple[float, float, float]:
        """Middle of the opening at the top."""
        return (self.mouth_mm[0], self.stop_v_mm, self.axis_w_mm)

    @property
    def outlet_radius_mm(self) -> float:
        """Radius of the opening at the top."""
        return max(self.stop_radius_mm, self.cup_radius_mm)

    @property
    def solid(self) -> Solid:
        """The channel's body, reaching a little beyond its opening so that it cuts clean."""
        return union(self._pieces(0.0, self.stop_v_mm + _BEYOND_MM))

    def wall(self, thickness_mm: float) -> Solid:
        """Return the channel grown by a wall, below its end too, up to its opening."""
        return union(self._pieces(thickness_mm, self.stop_v_mm))

    def _pieces(self, grown: float, stop_v: float) -> list[Solid]:
        start = self.ring(self.start_v_mm - grown, self.start_radius_mm + grown)
        pieces = [hull_solid(np.vstack([start, self.ring(stop_v, self.stop_radius_mm + grown)]))]
        if abs(self.mouth_mm[2] - self.axis_w_mm) > 1e-6:
            pieces.append(self._fin(grown, stop_v))
        if self.cup_radius_mm > 0.0:
            floor = self.ring(self.stop_v_mm - self.cup_depth_mm, self.stop_radius_mm + grown)
            rim = self.ring(self.stop_v_mm, self.cup_radius_mm + grown)
            over = rim + np.array([0.0, stop_v - self.stop_v_mm, 0.0])
            pieces.append(hull_solid(np.vstack([floor, rim, over])))
        return pieces

    def _fin(self, grown: float, stop_v: float) -> Solid:
        """Return the fin between a mouth beside the parting surface and the axis in it.

        It is constant along the pull, so that it releases. Its wall is grown on all sides, then cut level.
        """
        away = self.mouth_mm[2] - self.axis_w_mm
        crest = self.start_v_mm + abs(away) + 2.0 * self.start_radius_mm
        crest = min(crest, self.stop_v_mm + _BEYOND_MM) + grown
        radius = self.start_radius_mm + grown
        levels = sorted({self.start_v_mm - grown, self.start_v_mm + grown})
        foot = np.vstack([self.ring(level, radius) for level in levels])
        fin = hull_solid(np.vstack([foot, foot + np.array([0.0, 0.0, away]), self.ring(crest, radius)]))
        return fin if crest <= stop_v else fin.split_by_plane([0.0, 1.0, 0.0], stop_v)[1]

    def ring(self, v: float, radius: float) -> FloatArray:
        """Return the corners of the cross-section; its sides at ±u run along the pull."""
        angle = 2.0 * np.pi * (np.arange(SIDES) + 0.5) / SIDES
        u = self.mouth_mm[0] + radius * np.cos(angle)
        w = self.axis_w_mm + radius * np.sin(angle)
        return np.column_stack([u, np.full(SIDES, v), w])

    @property
    def footprint(self) -> Section:
        """Shadow along the pull, for keeping keys and bolts away."""
        u = self.mouth_mm[0]
        rows = [
            (self.start_v_mm - self.start_radius_mm, self.start_radius_mm),
            (self.stop_v_mm - self.cup_depth_mm, self.stop_radius_mm),
            (self.stop_v_mm, self.outlet_radius_mm),
        ]
        points = [(u + side * radius, v) for v, radius in rows for side in (-1.0, 1.0)]
        return hull_section(points)

    def guide(self, turn: FloatArray, beyond_mm: float) -> Guide:
        """Return the guide that keeps the parting surface on the axis, in the pull frame."""
        u, w = self.mouth_mm[0], self.axis_w_mm
        ends = np.array([[u, self.start_v_mm, w], [u, self.stop_v_mm + beyond_mm, w]]) @ turn.T
        return Guide.channel(ends[0], ends[1], self.start_radius_mm)


def pour_up_uv(cavity: Solid, frame: FloatArray, settings: MouldSettings) -> FloatArray:
    """Return the direction across the pull in which the cavity traps least air.

    Parameters
    ----------
    cavity : Solid
        In the part's coordinates; a coarse copy is enough.
    frame : (3, 3)
        The parting surface's frame: columns u, v and pull.
    settings : MouldSettings
        `pour_up` decides when given.

    Returns
    -------
    (2,) float64
        Unit vector along u and v of the frame.

    Raises
    ------
    UsageError
        If `pour_up` runs along the pull.
    """
    if settings.pour_up is None:
        candidates = directions_in_plane(frame[:, 2])
        found = best_pour_direction(cavity.mesh.vertices, cavity.mesh.faces, candidates=candidates)
        along = np.array(found.best.up) @ frame[:, :2]
    else:
        along = np.asarray(settings.pour_up, dtype=np.float64) @ frame[:, :2]
        if np.linalg.norm(along) < _LEAST_ACROSS * np.linalg.norm(settings.pour_up):
            raise UsageError(
                f"pour_up {settings.pour_up} runs along the pull direction.",
                remedy="Give a direction across the pull, or none to have it searched.",
            )
    return np.asarray(along / np.linalg.norm(along))


def air_pockets(cavity: Solid, openings: Sequence[tuple[ArrayLike, float]]) -> AirAnalysis:
    """Return where air stays while the cavity (in mould coordinates) fills through the openings."""
    return trapped_air(cavity.mesh.vertices, cavity.mesh.faces, up=_UP, openings=openings)


def plan_channels(
    cavity: Solid, frame: MouldFrame, *, top_mm: float, settings: MouldSettings
) -> list[Channel]:
    """Return the sprue, at the highest point of the cavity, and a vent for every air pocket.

    Where no pocket asks for one, a vent still stands beside the sprue, so that air need not leave against
    the liquid.

    Parameters
    ----------
    cavity : Solid
        In mould coordinates.
    frame : MouldFrame
        With the parting surface.
    top_mm : float
        Height (v) at which the channels open.
    settings : MouldSettings
        Diameters, and the air pocket that may stay.
    """
    line = _parting_line(cavity, frame)
    summit = _summit(cavity.mesh.vertices, line)
    places = place_vents(
        cavity.mesh.vertices,
        cavity.mesh.faces,
        up=_UP,
        sprue=(summit, settings.sprue_diameter_mm / 2.0),
        limit_mm3=settings.least_pocket_mm3,
    )
    radius = settings.vent_diameter_mm / 2.0
    channels = [_sprue(summit, _axis_w(summit, frame, []), top_mm, settings)]
    mouths = [np.array(place) for place in places.vents_mm]
    if not mouths:
        mouths = _beside(line, channels[0], channels[0].outlet_radius_mm + 3.0 * radius)
    for mouth in mouths:
        channels.append(_vent(mouth, _axis_w(mouth, frame, channels), top_mm, radius))
    return channels


def _sprue(summit: FloatArray, axis_w_mm: float, top_mm: float, settings: MouldSettings) -> Channel:
    radius = settings.sprue_diameter_mm / 2.0
    start = float(summit[1]) - 0.5 * radius
    depth = settings.cup_depth_mm if settings.cup_diameter_mm > 0.0 else 0.0
    widening = np.tan(np.radians(CHANNEL_DRAFT_DEG)) * (top_mm - depth - start)
    return Channel(
        kind="sprue",
        mouth_mm=(float(summit[0]), float(summit[1]), float(summit[2])),
        axis_w_mm=axis_w_mm,
        start_v_mm=start,
        stop_v_mm=top_mm,
        start_radius_mm=radius,
        stop_radius_mm=radius + float(widening),
        cup_radius_mm=max(settings.cup_diameter_mm / 2.0, radius + float(widening)) if depth else 0.0,
        cup_depth_mm=depth,
    )


def _vent(mouth: FloatArray, axis_w_mm: float, top_mm: float, radius: float) -> Channel:
    start = float(mouth[1]) - 1.5 * radius
    return Channel(
        kind="vent",
        mouth_mm=(float(mouth[0]), float(mouth[1]), float(mouth[2])),
        axis_w_mm=axis_w_mm,
        start_v_mm=start,
        stop_v_mm=top_mm,
        start_radius_mm=radius,
        stop_radius_mm=radius + float(np.tan(np.radians(CHANNEL_DRAFT_DEG / 2.0)) * (top_mm - start)),
    )


def _axis_w(mouth: FloatArray, frame: MouldFrame, others: Sequence[Channel]) -> float:
    """Return the height of a channel's axis along the pull.

    A contour surface can be led through a mouth near it. Channels that stand close together share one height,
    so that the surface need not be steep between them.
    """
    level = float(frame.height_mm(mouth[:2])[0])
    if frame.parting.kind == "plane":
        return level
    if abs(mouth[2] - level) < _LED_MM:
        level = float(mouth[2])
    for other in others:
        room = abs(mouth[0] - other.mouth_mm[0]) - other.outlet_radius_mm
        if room < _STEEPEST * abs(level - other.axis_w_mm):
            return other.axis_w_mm
    return level


def _parting_line(cavity: Solid, frame: MouldFrame) -> FloatArray:
    """Return where the edges of the cavity pass through the parting surface, shape (n, 3)."""
    points, faces = cavity.mesh.vertices, cavity.mesh.faces
    off = points[:, 2] - frame.height_mm(points[:, :2])
    starts, stops = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    through = (off[starts] < 0.0) & (off[stops] >= 0.0)
    a, b = starts[through], stops[through]
    share = off[a] / (off[a] - off[b])
    return np.asarray(points[a] + share[:, None] * (points[b] - points[a]))


def _summit(points: FloatArray, line: FloatArray) -> FloatArray:
    """Return the highest point, in the parting surface where that runs as high: no fin is needed there."""
    top = float(points[:, 1].max())
    level = line[line[:, 1] > top - _LEVEL_MM]
    if len(level) == 0:
        return np.asarray(points[int(np.argmax(points[:, 1]))])
    return np.asarray(level[int(np.argmin(np.abs(level[:, 0] - level[:, 0].mean())))])


def _beside(line: FloatArray, sprue: Channel, gap: float) -> list[FloatArray]:
    """Return the highest point of the parting line that is clear of the sprue, if there is any."""
    clear = line[np.abs(line[:, 0] - sprue.mouth_mm[0]) > gap]
    return [clear[int(np.argmax(clear[:, 1]))]] if len(clear) else []


def footprint(channels: Sequence[Channel]) -> Section:
    """Return the shadow of all channels along the pull."""
    return merged([channel.footprint for channel in channels])
