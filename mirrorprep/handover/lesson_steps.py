"""What the lesson teaches: each step with its idea, its formula, a worked example and the source."""

from dataclasses import dataclass
from typing import Final

from mirrorprep.handover.mathml import frac, math, root, row, sub, sup, vector


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonStep:
    """One step of the workflow.

    Attributes
    ----------
    key : str
        Short name; figures and pictures of a job are attached to it.
    title, idea : str
        What is done and why it works.
    formula : str
        MathML.
    symbols : tuple of (str, str)
        What each symbol means, with its unit.
    example : str
        A worked example with numbers that can be redone by hand.
    source : str
        Paper, standard or 'common practice, no source'.
    """

    key: str
    title: str
    idea: str
    formula: str
    symbols: tuple[tuple[str, str], ...]
    example: str
    source: str


STEPS: Final = (
    LessonStep(
        key="scan",
        title="A scan becomes a solid",
        idea="A scan is a sheet of triangles. It bounds a body only when every edge belongs to exactly two "
        "triangles that run along it in opposite ways, and when the normals point outward. Holes, stray "
        "pieces and double edges break the rule, and each of them can be counted.",
        formula=math("χ", "=", "V", "−", "E", "+", "F", "=", row("2", "(", "1", "−", "g", ")")),
        symbols=(
            ("V, E, F", "numbers of vertices, edges and triangles"),
            ("g", "number of handles: 0 for a ball, 1 for a ring"),
            ("χ", "Euler characteristic of one closed body"),
        ),
        example="A tetrahedron has 4 vertices, 6 edges and 4 triangles: 4 − 6 + 4 = 2, so it has no handle.",
        source="3MF core specification 1.4, sections 4.1, 4.1.3, 4.1.4; Euler's polyhedron formula",
    ),
    LessonStep(
        key="plane",
        title="The mirror plane",
        idea="Reflect the scan across a guessed plane and lay the reflection back onto the scan as a rigid "
        "body. What remains is one reflection, and its plane is better than the guess. Repeat. A missing ear "
        "must not pull the plane, so places without a counterpart lose their vote.",
        formula=math(
            vector("H"),
            "=",
            vector("I"),
            "−",
            "2",
            vector("n"),
            sup(vector("n"), "T"),
            ",",
            vector("p"),
            "→",
            vector("H"),
            vector("p"),
            "+",
            "2",
            "d",
            vector("n"),
        ),
        symbols=(
            ("n, d", "unit normal and offset of the plane, mm"),
            ("H", "reflection; applied twice it does nothing"),
        ),
        example="For n = (1, 2, 2)/3 and d = 4 the point (1, 0, 0) goes to (31/9, 44/9, 44/9). A plane that "
        "is 1° wrong moves an ear 80 mm away from it by 2 × 80 mm × sin 1° = 2.8 mm.",
        source="A. S. Householder, J. ACM 5 (1958) 339-342; M. Cicconet et al., arXiv 1611.05971",
    ),
    LessonStep(
        key="mirrored",
        title="The mirrored part, right side out",
        idea="A reflection turns every triangle inside out. So the order of its corners is reversed, the "
        "normals point outward again, and the volume stays what it was.",
        formula=math("det", vector("H"), "=", "−1", ",", sub("V", "mirrored"), "=", "V"),
        symbols=(("det H", "−1: handedness changes, size does not"),),
        example="Mirroring a box of 1 × 2 × 3 mm gives 6 mm³; without reversing the corners the formula of "
        "the next step would give −6 mm³.",
        source="identity of linear algebra; winding rule of the 3MF core specification 1.4, section 4.1.3",
    ),
    LessonStep(
        key="part",
        title="Volume and mass",
        idea="Each triangle and the origin span a small tetrahedron with a sign. Outside the body the signs "
        "cancel; what is left is the volume. An open surface has none: different origins give different "
        "answers. If the scanner is off by u everywhere, the volume is off by about u times the area.",
        formula=math(
            "V",
            "=",
            frac("1", "6"),
            "∑",
            vector("a"),
            "·",
            "(",
            vector("b"),
            "×",
            vector("c"),
            ")",
            ",",
            "m",
            "=",
            "ρ",
            "V",
            ",",
            sub("u", "V"),
            "≈",
            "u",
            "A",
        ),
        symbols=(
            ("a, b, c", "corners of a triangle, counter-clockwise from outside, mm"),
            ("ρ", "density, g/cm³ = mg/mm³"),
            ("u, A", "scan accuracy, mm, and area, mm²"),
        ),
        example="The corner of a box cut at 3, 5 and 7 mm along the axes holds 3 × 5 × 7 / 6 = 17.5 mm³. An "
        "ellipsoid of 63 × 36 × 18 mm holds 21 375 mm³ and weighs 23.5 g at 1.10 g/cm³.",
        source="B. Mirtich, J. Graphics Tools 1 (1996) 31-50",
    ),
    LessonStep(
        key="undercut",
        title="Which way it opens",
        idea="A half comes off along the pull direction when no surface of the part leans over it. Each "
        "surface has a draft angle towards the pull; where it is negative, material is trapped. Many "
        "directions are tried, and the one that traps least is taken.",
        formula=math("sin", "α", "=", vector("n"), "·", vector("d"), ",", "α", "≥", sub("α", "min")),
        symbols=(
            ("n", "outward normal of the surface of the cavity's part"),
            ("d", "unit pull direction of its half"),
            ("α", "draft angle"),
        ),
        example="A wall along the pull has α = 0°: it drags. At n · d = 0.0349 the draft is 2°.",
        source="H.-K. Ahn et al., Computer-Aided Design 34 (2002); "
        "R. Khardekar, G. Burton, S. McMains (2006)",
    ),
    LessonStep(
        key="exploded",
        title="The shell of the mould",
        idea="Grow the part by the wall thickness and take the part away: what is left is the shell. For a "
        "convex body the grown volume follows from four numbers; a hollowed shape such as an ear needs less, "
        "because its folds close up.",
        formula=math(
            "V",
            "(",
            "t",
            ")",
            "=",
            "V",
            "+",
            "A",
            "t",
            "+",
            "M",
            sup("t", "2"),
            "+",
            frac("4", "3"),
            "π",
            sup("t", "3"),
        ),
        symbols=(
            ("t", "wall thickness, mm"),
            ("A", "area, mm²"),
            ("M", "integral of the mean curvature, mm"),
        ),
        example="A box of 20 × 30 × 40 mm has V = 24 000 mm³, A = 5200 mm² and M = 90 π = 282.7 mm. Grown by "
        "3 mm it takes 42 258 mm³, so the shell holds 18 258 mm³.",
        source="Minkowski-Steiner formula",
    ),
    LessonStep(
        key="filling",
        title="The pour",
        idea="The liquid rises from below, and air leaves through the sprue and the vents. A thin liquid "
        "falls as fast as a stone; a silicone creeps, held back by its viscosity in the narrow sprue. The "
        "liquid also pushes the halves apart, so they are clamped before the pour.",
        formula=math(
            "v",
            "=",
            root(row("2", "g", "h")),
            ",",
            "Q",
            "=",
            frac(row("π", "Δp", sup("r", "4")), row("8", "η", "L")),
            ",",
            "F",
            "=",
            "ρ",
            "g",
            "h",
            "A",
        ),
        symbols=(
            ("v, h", "speed of a thin liquid, m/s, under a head, m"),
            ("Q, r, L", "flow of a viscous one, m³/s, through a sprue of radius r and length L, m"),
            ("η, Δp", "viscosity, Pa s, and pressure, Pa"),
            ("F, A", "lifting force, N, and area seen along the pull, m²"),
        ),
        example="Under 0.25 m of head a thin liquid leaves at 2.21 m/s. A mix of 5 Pa s and 1100 kg/m³ under "
        "a head of 40 mm needs 86 s for 25 cm³ through a sprue 8 mm wide and 30 mm long.",
        source="Torricelli's law; Hagen-Poiseuille law; hydrostatics",
    ),
    LessonStep(
        key="cutaway",
        title="Proof before printing",
        idea="What was written is read back and weighed again. Halves, part and channels must fill the outer "
        "body exactly, they must not overlap when closed, and each half must slide off without touching.",
        formula=math(
            sub("V", "outer"),
            "=",
            sub("V", "half_a"),
            "+",
            sub("V", "half_b"),
            "+",
            sub("V", "cavity"),
            "+",
            sub("V", "channels"),
            "+",
            sub("V", "hollows"),
        ),
        symbols=(("V hollows", "bores, pockets and clearances, mm³"),),
        example="In double precision the two sides agree to nine digits; a file with 32-bit numbers keeps "
        "six to seven. An STL file of n triangles has exactly 84 + 50 n bytes.",
        source="conservation of volume; "
        "StereoLithography Interface Specification, 1989 (read in reproductions)",
    ),
)
"""The workflow in the order of the work."""
