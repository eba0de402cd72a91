"""The landscape of pull directions for the page: what each direction of a hemisphere traps."""

from mirrorprep.mould.pull_direction import Pull, search_pull_direction
from mirrorprep.solid.certify import certify
from mirrorprep.solid.mesh import ScanMesh


def landscape_data(part: ScanMesh) -> dict[str, object]:
    """Return directions, the share of the part's volume that each traps, and the best of them.

    Parameters
    ----------
    part : ScanMesh
        The casting, a solid.

    Returns
    -------
    dict
        ``directions`` (unit vectors), ``share`` for the best parting surface, ``plane_share`` for the best
        plane, and ``best``: the directions that the search takes or nearly takes, measured on the part
        itself. A direction and its opposite are the same pull.

    Raises
    ------
    NoPartingError
        If the part is empty.
    """
    found = search_pull_direction(certify(part))
    volume = found.volume_mm3
    best = [found.for_contour, found.for_plane, *found.alternatives]
    return {
        "directions": found.directions.tolist(),
        "share": (found.bound_mm3 / volume).tolist(),
        "plane_share": (found.plane_trapped_mm3 / volume).tolist(),
        "best": [_pull(pull, volume) for pull in dict.fromkeys(best)],
    }


def _pull(pull: Pull, volume_mm3: float) -> dict[str, object]:
    return {
        "direction": list(pull.direction),
        "share": pull.bound_mm3 / volume_mm3,
        "plane_share": pull.plane_trapped_mm3 / volume_mm3,
    }
