"""The method sources: what each computation rests on and how well the source was checked."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One method and where it comes from.

    Attributes
    ----------
    room : str
        The stage that uses it.
    method : str
        What is computed.
    reference : str
        Paper, standard or 'common practice, no source'.
    """

    room: str
    method: str
    reference: str


SOURCES: Final = (
    Source(
        room="intake",
        method="3MF reading and writing: units, transforms, two triangles per edge, winding",
        reference="3MF core specification 1.4, sections 3.1-3.4, 4.1",
    ),
    Source(
        room="intake",
        method="binary STL layout, 84 + 50 n bytes",
        reference="StereoLithography Interface Specification, 1989 (read in reproductions)",
    ),
    Source(
        room="intake",
        method="GLB: metres, right-handed, y up",
        reference="glTF 2.0 specification (ISO/IEC 12113)",
    ),
    Source(
        room="condition",
        method="triangle-triangle intersection",
        reference="T. Möller, J. Graphics Tools 2 (1997) 25-30",
    ),
    Source(
        room="condition",
        method="minimal-area filling of holes",
        reference="G. Barequet, M. Sharir, Computer Aided Geometric Design 12 (1995) 207-229; "
        "P. Liepa, Symposium on Geometry Processing (2003) 200-205",
    ),
    Source(
        room="symmetry",
        method="reflection across a plane",
        reference="A. S. Householder, J. ACM 5 (1958) 339-342",
    ),
    Source(
        room="symmetry",
        method="published accuracy of mid-sagittal planes: 1.66 ± 0.81°",
        reference="doi 10.1186/s12903-020-01311-3",
    ),
    Source(
        room="symmetry",
        method="reflect, register, compose",
        reference="M. Cicconet et al., arXiv 1611.05971",
    ),
    Source(
        room="seating",
        method="least-squares placement by landmark pairs (geometry/rigid_fit)",
        reference="W. Kabsch, Acta Crystallographica A 32 (1976) 922-923 and A 34 (1978) 827-828; "
        "S. Umeyama, IEEE Transactions on Pattern Analysis and Machine Intelligence 13 (1991) 376-380",
    ),
    Source(
        room="seating",
        method="signed distance by angle-weighted pseudonormals (geometry/signed_distance)",
        reference="J. A. Bærentzen, H. Aanæs, IEEE Transactions on Visualization and Computer Graphics 11 "
        "(2005) 243-253",
    ),
    Source(
        room="seating",
        method="settling the margin by distances along the skin's normals (seating/registration)",
        reference="Y. Chen, G. Medioni, Image and Vision Computing 10 (1992) 145-155",
    ),
    Source(
        room="seating",
        method="robust weights of the settling (seating/registration)",
        reference="S. Geman, D. E. McClure, Bulletin of the International Statistical Institute 52 (1987) "
        "5-21 (from memory)",
    ),
    Source(
        room="seating",
        method="shortest ways along edges, before they are straightened (geometry/geodesic)",
        reference="E. W. Dijkstra, Numerische Mathematik 1 (1959) 269-271",
    ),
    Source(
        room="seating",
        method="smoothing the rim of the region by one implicit step of diffusion (geometry/geodesic)",
        reference="M. Desbrun et al., SIGGRAPH (1999) 317-324",
    ),
    Source(
        room="seating",
        method="natural difference of left and right ears (seating/natural_asymmetry)",
        reference="Lin 2025 (abstract); doi 10.4329/wjr.v16.i12.760 (abstract); International Journal of "
        "Morphology 33 (2015) 1542 (abstract)",
    ),
    Source(
        room="measurement",
        method="volume, centroid and inertia",
        reference="B. Mirtich, J. Graphics Tools 1 (1996) 31-50",
    ),
    Source(
        room="measurement",
        method="wall thickness by shrinking balls",
        reference="J. Ma, S. W. Bae, S. Choi, The Visual Computer 28 (2012) 7-19",
    ),
    Source(
        room="measurement",
        method="least walls of materials (measurement/least_wall)",
        reference="common practice, no source",
    ),
    Source(
        room="mould",
        method="conditions for two-part moulds",
        reference="H.-K. Ahn et al., Computer-Aided Design 34 (2002)",
    ),
    Source(
        room="mould",
        method="mouldability from depth buffers",
        reference="R. Khardekar, G. Burton, S. McMains (2006)",
    ),
    Source(
        room="mould",
        method="clearance holes and nuts",
        reference="ISO 273, ISO 4032 (read in reproductions that agree)",
    ),
    Source(
        room="pour",
        method="filling without trapped air",
        reference="P. Bose, M. van Kreveld, G. Toussaint, Computer-Aided Design (1998)",
    ),
    Source(
        room="pour",
        method="levels at which air is shut off: maximum spanning tree and its widest ways "
        "(geometry/air_pockets)",
        reference="J. B. Kruskal, Proceedings of the American Mathematical Society 7 (1956) 48-50; T. C. Hu, "
        "Operations Research 9 (1961) 898-900",
    ),
    Source(
        room="pour",
        method="pipe flow of a viscous mix",
        reference="Hagen-Poiseuille law; Torricelli's law for thin liquids",
    ),
    Source(
        room="pour",
        method="friction in turbulent pipe flow, 0.316 Re^-1/4 (pour/channel_flow)",
        reference="H. Blasius, Mitteilungen über Forschungsarbeiten auf dem Gebiete des Ingenieurwesens 131 "
        "(1913) (from memory)",
    ),
    Source(
        room="pour",
        method="rise of small bubbles (pour/channel_flow)",
        reference="G. G. Stokes, Transactions of the Cambridge Philosophical Society 9 (1851) 8-106 "
        "(from memory)",
    ),
    Source(
        room="pour",
        method="give of a mould wall, as of a simply supported plate (pour/forces)",
        reference="S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells (1959), chapter 5 "
        "(from memory)",
    ),
    Source(
        room="pour",
        method="lifting force on the upper half, ρ g h A, and buoyancy of cores",
        reference="hydrostatics; foundry handbook entry and a 1991 examination problem",
    ),
    Source(
        room="handover",
        method="safety, law and privacy",
        reference="SAFETY.md, with the standing of each statement",
    ),
)
