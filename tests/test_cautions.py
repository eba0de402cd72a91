"""One copy of the safety wording, the same everywhere."""

from pathlib import Path

from mirrorprep import cautions

ROOT = Path(__file__).resolve().parents[1]


def _flat(text: str) -> str:
    return " ".join(text.replace(">", " ").replace("**", " ").split())


def test_safety_md_and_readme_carry_the_wording():
    safety = _flat((ROOT / "SAFETY.md").read_text(encoding="utf-8"))
    assert all(sentence in safety for sentence in cautions.ALL)
    assert cautions.STARTING_SHAPE.rstrip(".") in safety
    assert cautions.RESEARCH_ONLY in _flat((ROOT / "README.md").read_text(encoding="utf-8"))


def test_no_other_module_repeats_the_wording():
    phrases = [sentence.split(",")[0].split(".")[0] for sentence in cautions.ALL]
    copies = [
        (path.name, phrase)
        for path in (ROOT / "mirrorprep").rglob("*.py")
        if path.name != "cautions.py"
        for phrase in phrases
        if phrase in path.read_text(encoding="utf-8")
    ]
    assert not copies
