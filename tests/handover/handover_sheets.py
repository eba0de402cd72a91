"""A small traveller with something in every place, for the tests."""

import numpy as np

from mirrorprep import cautions
from mirrorprep.handover.palette import HALF_A, HALF_B, PART
from mirrorprep.handover.sheet import Sheet
from mirrorprep.handover.traveller import (
    Check,
    Figure,
    FileEntry,
    MethodSource,
    Picture,
    Section,
    State,
    Step,
    TravellerData,
    Verdict,
    Waiver,
)
from mirrorprep.handover.view import Scene, SceneBody
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.plane import Plane
from mirrorprep.solid.primitives import box, sphere

DIGEST = "2c26b46b68ffc68ff99b453c1d30413413422d706483bfa0f98a5e886266e7ae"
NASTY = '<script>alert("x")</script> & Ø "quoted"'


def small_png(words="a picture", size=(320, 200)):
    sheet = Sheet(*size)
    sheet.text(20, 40, words)
    sheet.box(40, 80, 120, 80, facecolor="#a8492c")
    return sheet.png()


def small_scene(*, maps=True, segments=48):
    part = sphere(10, segments=segments)
    block = box([36, 40, 30]) - part
    half_a, half_b = block.split_by_plane([0, 0, 1], 0.0)
    height = np.array(part.mesh.vertices[:, 2])
    deviation = np.where(height > 9, np.nan, height / 10)
    values = {"undercut depth": np.maximum(height, 0), "deviation": deviation} if maps else {}
    return Scene(
        bodies=[
            SceneBody(name="part", mesh=part, color=PART, maps=values),
            SceneBody(name="half_a", mesh=half_a, color=HALF_A, opens=1),
            SceneBody(name="half_b", mesh=half_b, color=HALF_B, opens=-1),
        ],
        pull_direction=(0.0, 0.0, 1.0),
        plane=Plane(normal=[1, 0, 0], offset_mm=0.0),
        up=(0.0, 1.0, 0.0),
    )


def small_data(*, scene=None, state=State.CAUTIONS, **changes):
    fields = {
        "job_code": "TP-014",
        "purpose": "teaching",
        "title": "Mirrored ball and two-part mould",
        "verdict": Verdict(state=state, sentence="The mould closes and opens.", reasons=("Thin wall.",)),
        "sections": (
            Section(
                title="Part",
                lead=f"What is cast: {NASTY}",
                figures=(
                    Figure(
                        label="volume",
                        value=36303.4,
                        unit="mm³",
                        uncertainty=210.0,
                        evidence="divergence theorem",
                        main=True,
                    ),
                    Figure(label="pot life", value=None, unit="s"),
                    Figure(label="triangles", value=200132, main=True),
                    Figure(label="solid", value=True),
                ),
                pictures=("part",),
            ),
        ),
        "checks": (
            Check(claim="The halves do not overlap", how="intersection", measured="0 mm³", limit="0 mm³"),
            Check(claim="half_a opens freely", how="swept", measured="0.4 mm³", limit="0.1 mm³", holds=False),
            Check(claim="Cure", how="needs a test patch", holds=None),
        ),
        "findings": (
            Finding(code="unit-stated", severity=Severity.NOTE, message="The unit was stated."),
            Finding(
                code="release", severity=Severity.STOP, message=f"Interference {NASTY}", measured=float("nan")
            ),
        ),
        "waivers": (Waiver(code="release", message="Interference.", reason="flexible casting"),),
        "pictures": (
            Picture(name="part", png=small_png(), caption="The part.", description=NASTY),
            Picture(name="loose", png=small_png("loose"), caption="Another picture."),
        ),
        "files": (
            FileEntry(name="scan", what="the scan", size_bytes=10, sha256=DIGEST, role="input"),
            FileEntry(name="half_a.stl", what="upper half", size_bytes=20, sha256=DIGEST),
        ),
        "steps": (
            Step(text="Print the halves.", numbers="2 parts"),
            Step(text="Close the mould.", caution=cautions.CLAMP_FIRST),
        ),
        "settings": {"mould.wall_mm": 6.0, "mould.pull_direction": [0, 0, 1]},
        "versions": {"mirrorprep": "0.1.0"},
        "sources": (MethodSource(method="volume", reference="Mirtich 1996"),),
        "scene": scene,
    }
    return TravellerData(**{**fields, **changes})
