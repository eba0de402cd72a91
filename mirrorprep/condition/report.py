"""CheckReport: what a check found, in numbers and findings."""

from dataclasses import dataclass

from mirrorprep.solid.finding import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """One open border.

    Attributes
    ----------
    edges : int
        Number of open edges.
    perimeter_mm : float
        Their summed length.
    place_mm : tuple of float
        Their mean position.
    """

    edges: int
    perimeter_mm: float
    place_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """The condition of a scan.

    Attributes
    ----------
    triangles, vertices : int
        Sizes of the mesh.
    solid : bool
        Closed, consistently oriented and right side out, by vertex index as the mesh stands.
    open_edges, non_manifold_edges, inconsistent_edges : int
        Edges of one triangle, of more than two, of two that run the same way.
    degenerate_faces, duplicate_faces : int
        Triangles of zero area; triangles that repeat another one's corners.
    flipped_faces : int
        Triangles that face the other way than the larger part of their piece of surface.
    self_intersections : int
        Pairs of triangles without a common corner that meet.
    neighbour_intersections : int
        Pairs with a common corner that meet elsewhere too, and pairs on a common edge that lie flat upon
        each other. Some libraries count these with the former, some not at all.
    bodies : int
        Pieces connected through shared vertices.
    overlapping_bodies : int
        Pairs of bodies whose common volume would be counted twice.
    genus : int or None
        Number of handles, summed over the bodies; None unless closed.
    inside_out : bool
        The normals of an outermost body point inward, whether it is closed or open.
    size_mm : tuple of float
        Extent along x, y, z.
    units : str
        The unit the file's numbers were taken to be in.
    suits : str or None
        The kind of scanner that such a size suits; None when too small or too large for any.
    spacing_mm : float or None
        Median distance of neighbouring points.
    smallest_feature_mm : float or None
        Three point spacings: what the scan can show (common practice, no source).
    noise_mm : float or None
        Estimated standard deviation of the points along the normal; None when unknown.
    spikes : int
        Vertices that stand out like a needle.
    holes : tuple of Hole
        The longest first, at most 200.
    findings : tuple of Finding
        What the reader and the check noticed.
    """

    triangles: int
    vertices: int
    solid: bool
    open_edges: int
    non_manifold_edges: int
    inconsistent_edges: int
    degenerate_faces: int
    duplicate_faces: int
    flipped_faces: int
    self_intersections: int
    neighbour_intersections: int
    bodies: int
    overlapping_bodies: int
    genus: int | None
    inside_out: bool
    size_mm: tuple[float, float, float]
    units: str
    suits: str | None
    spacing_mm: float | None
    smallest_feature_mm: float | None
    noise_mm: float | None
    spikes: int
    holes: tuple[Hole, ...]
    findings: tuple[Finding, ...]

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        plain = {name: getattr(self, name) for name in self.__slots__}
        plain["size_mm"] = list(self.size_mm)
        plain["holes"] = [
            {"edges": h.edges, "perimeter_mm": h.perimeter_mm, "place_mm": list(h.place_mm)}
            for h in self.holes
        ]
        plain["findings"] = [finding.as_dict() for finding in self.findings]
        return plain
