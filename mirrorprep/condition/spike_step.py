"""Taking down needles: single vertices that a scanner put far off the surface."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from mirrorprep.condition.draft import Draft, MendStep, counted, places
from mirrorprep.geometry.surface_quality import rings, spikes
from mirrorprep.geometry.topology import edge_table

FloatArray = NDArray[np.float64]

_LEAST_VERTICES: Final = 1000
_MOST_SHARE: Final = 0.01
_MOST_NEIGHBOURS: Final = 12
_WIDEST_FOOT: Final = 3.0


def flatten_spikes(draft: Draft, *, slenderness: float) -> tuple[Draft, MendStep]:
    """Move vertices that stand out like needles to the mean of their neighbours.

    Only single vertices of a dense mesh count: no more than one in a hundred, on a foot no wider than a
    few point spacings, with no more than a dozen neighbours. The tip of a modelled cone is left alone.
    """
    if len(draft.faces) == 0:
        return draft, _step(np.zeros((0, 3)))
    table = edge_table(draft.faces)
    around = rings(table.edges, table.open | table.non_manifold, len(draft.vertices))
    tips = spikes(draft.vertices, around, slenderness=slenderness)
    foot = around.mean[tips] @ draft.vertices
    ends = draft.vertices[table.edges]
    spacing = float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
    reach = around.mean[tips] @ np.einsum("ij,ij->i", draft.vertices, draft.vertices)
    radius = np.sqrt(np.maximum(reach - np.einsum("ij,ij->i", foot, foot), 0.0))
    single = (around.valence[tips] <= _MOST_NEIGHBOURS) & (radius <= _WIDEST_FOOT * spacing)
    tips, foot = tips[single], foot[single]
    used = int((around.valence > 0).sum())
    if used < _LEAST_VERTICES or len(tips) > _MOST_SHARE * used:
        tips, foot = tips[:0], foot[:0]
    return (draft.with_moved(tips, foot) if len(tips) else draft), _step(foot)


def _step(foot: FloatArray) -> MendStep:
    said = f"{counted(len(foot), 'needle')} of one vertex moved to the middle of their neighbours."
    return MendStep(
        name="flatten-spikes",
        changed=len(foot) > 0,
        summary=said if len(foot) else "No needles.",
        counts={"spikes": len(foot)},
        where=places(foot),
    )
