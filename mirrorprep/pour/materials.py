"""Generic classes of casting materials; figures of the user's own data sheet replace theirs."""

from dataclasses import dataclass, replace
from typing import Final

from mirrorprep import cautions
from mirrorprep.errors import UsageError
from mirrorprep.pour.mixing import HEMIHYDRATE_DENSITY_G_CM3, Mix, slurry_density_g_cm3
from mirrorprep.pour.ranges import Range, combined

FROM_MEMORY: Final = "from memory"
DATA_SHEET: Final = "data sheet stated by the user"

GYPSUM_PARTS: Final = ("powder", "water")

FIGURES: Final = (
    "density_g_cm3",
    "liquid_density_g_cm3",
    "shrinkage",
    "viscosity_pa_s",
    "pot_life_s",
    "mix",
    "safe_strain",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A casting material.

    Attributes
    ----------
    name : str
        Class or the user's own name.
    density_g_cm3, liquid_density_g_cm3 : Range
        As cast, and when poured.
    shrinkage : Range
        Linear shrinkage as a share (0.01 is 1 %); negative for expansion.
    viscosity_pa_s : Range
        Of the mix when poured.
    pot_life_s : Range or None
        Time for which the mix can be poured; None where it does not apply.
    flexible : bool
        Whether the casting may be bent out of an undercut.
    safe_strain : Range or None
        Strain that a flexible casting takes on demoulding without damage.
    mix : Mix
        Parts and ratio.
    melted : bool
        Poured hot and set by cooling.
    sources : tuple of (str, str)
        Where each figure comes from.
    cautions : tuple of str
        Wording from `mirrorprep.cautions`.
    """

    name: str
    density_g_cm3: Range
    liquid_density_g_cm3: Range
    shrinkage: Range
    viscosity_pa_s: Range
    pot_life_s: Range | None
    flexible: bool
    mix: Mix
    melted: bool = False
    safe_strain: Range | None = None
    sources: tuple[tuple[str, str], ...] = ()
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name, least in (
            ("density_g_cm3", 0.05),
            ("liquid_density_g_cm3", 0.05),
            ("viscosity_pa_s", 1e-5),
        ):
            figure: Range = getattr(self, name)
            if figure.low < least:
                raise UsageError(
                    f"{name} of '{self.name}' is {figure.low:g}.", remedy=f"Give at least {least:g}."
                )
        if not -0.2 < self.shrinkage.low <= self.shrinkage.high < 0.2:
            raise UsageError(
                f"The shrinkage of '{self.name}' is {self.shrinkage.typical:g}.",
                remedy="Give a linear share such as 0.01 for 1 %.",
            )

    @property
    def generic_figures(self) -> tuple[str, ...]:
        """Names of the figures that are the class's and not the user's."""
        known = dict(self.sources)
        return tuple(name for name in FIGURES if known.get(name, FROM_MEMORY) != DATA_SHEET)

    def source(self, figure: str) -> str:
        """Return where a figure comes from."""
        return dict(self.sources).get(figure, FROM_MEMORY)

    def with_figures(
        self,
        *,
        density_g_cm3: float | Range | None = None,
        liquid_density_g_cm3: float | Range | None = None,
        shrinkage: float | Range | None = None,
        viscosity_pa_s: float | Range | None = None,
        pot_life_s: float | Range | None = None,
        safe_strain: float | Range | None = None,
        mix: Mix | None = None,
        flexible: bool | None = None,
        name: str | None = None,
    ) -> "Material":
        """Return the material with the figures of a data sheet in place of the generic ones.

        A stated density is taken for the poured liquid too, unless the material is melted; a stated water
        ratio of gypsum gives the density of its slurry.

        Examples
        --------
        >>> mine = find_material("addition-cure silicone").with_figures(density_g_cm3=1.08)
        >>> mine.density_g_cm3.typical, "density_g_cm3" in mine.generic_figures
        (1.08, False)
        """
        stated: dict[str, float | Range | Mix | None] = {
            "density_g_cm3": density_g_cm3,
            "liquid_density_g_cm3": liquid_density_g_cm3,
            "shrinkage": shrinkage,
            "viscosity_pa_s": viscosity_pa_s,
            "pot_life_s": pot_life_s,
            "safe_strain": safe_strain,
            "mix": mix,
        }
        if mix is not None and mix.names == GYPSUM_PARTS and density_g_cm3 is None:
            stated["density_g_cm3"] = _slurry(mix.ratio)
        if liquid_density_g_cm3 is None and not self.melted:
            stated["liquid_density_g_cm3"] = stated["density_g_cm3"]
        given = {key: _as_range(value) for key, value in stated.items() if value is not None}
        sources = {**dict(self.sources), **dict.fromkeys(given, DATA_SHEET)}
        return replace(
            self,
            **given,  # type: ignore[arg-type]
            sources=tuple(sorted(sources.items())),
            flexible=self.flexible if flexible is None else flexible,
            name=self.name if name is None else name,
        )

    def as_dict(self) -> dict[str, object]:
        """Return plain data for JSON."""
        return {
            "name": self.name,
            "density_g_cm3": self.density_g_cm3.as_dict(),
            "liquid_density_g_cm3": self.liquid_density_g_cm3.as_dict(),
            "shrinkage": self.shrinkage.as_dict(),
            "viscosity_pa_s": self.viscosity_pa_s.as_dict(),
            "pot_life_s": None if self.pot_life_s is None else self.pot_life_s.as_dict(),
            "flexible": self.flexible,
            "safe_strain": None if self.safe_strain is None else self.safe_strain.as_dict(),
            "mix": {"parts": list(self.mix.names), "ratio": self.mix.ratio.as_dict(), "by": self.mix.by},
            "sources": {name: self.source(name) for name in FIGURES},
        }


def _as_range(value: float | Range | Mix | None) -> Range | Mix | None:
    return Range.of(value) if isinstance(value, int | float) else value


def _minutes(low: float, typical: float, high: float) -> Range:
    return Range(60.0 * low, 60.0 * typical, 60.0 * high)


def _percent(low: float, typical: float, high: float) -> Range:
    return Range(low / 100.0, typical / 100.0, high / 100.0)


def _silicone(name: str, density: Range, shrinkage: Range, viscosity: Range, pot_life: Range) -> Material:
    tin = name.startswith("condensation")
    return Material(
        name=name,
        density_g_cm3=density,
        liquid_density_g_cm3=density,
        shrinkage=shrinkage,
        viscosity_pa_s=viscosity,
        pot_life_s=pot_life,
        flexible=True,
        safe_strain=Range(0.3, 0.5, 1.0),
        mix=Mix(names=("base", "catalyst"), ratio=Range(0.02, 0.05, 0.1)) if tin else Mix(names=("A", "B")),
        sources=(
            (("shrinkage", "direction read (PMC7791581; 10.1016/0142-9612(92)90058-v), numbers from memory"),)
            if tin
            else ()
        ),
        cautions=(cautions.TIN_CATALYST,) if tin else (cautions.CURE_INHIBITION,),
    )


def _resin(
    name: str, density: Range, shrinkage: Range, viscosity: Range, pot_life: Range, mix: Mix
) -> Material:
    hazard = {
        "cold-cure acrylic": cautions.UNCURED_ACRYLATE,
        "polyurethane": cautions.ISOCYANATE,
        "epoxy": cautions.EPOXY_HARDENER,
    }[name]
    sources = {
        "cold-cure acrylic": (
            ("shrinkage", "Gibbs 2014, J Prosthet Dent, abstract: 5.07 to 7.43 % by volume"),
        ),
        "polyurethane": (("shrinkage", "dependence on exotherm and section read, numbers from memory"),),
        "epoxy": (("density_g_cm3", "university glossary quoting Budinski 1999, bounds from memory"),),
    }[name]
    return Material(
        name=name,
        density_g_cm3=density,
        liquid_density_g_cm3=density,
        shrinkage=shrinkage,
        viscosity_pa_s=viscosity,
        pot_life_s=pot_life,
        flexible=False,
        mix=mix,
        sources=sources,
        cautions=(hazard,),
    )


def _slurry(water: Range) -> Range:
    return combined(lambda w: slurry_density_g_cm3(w, HEMIHYDRATE_DENSITY_G_CM3), water)


def _gypsum(name: str, water: Range, expansion: Range, pot_life: Range) -> Material:
    slurry = _slurry(water)
    return Material(
        name=name,
        density_g_cm3=slurry,
        liquid_density_g_cm3=slurry,
        shrinkage=Range(-expansion.high, -expansion.typical, -expansion.low),
        viscosity_pa_s=Range(0.5, 1.5, 5.0),
        pot_life_s=pot_life,
        flexible=False,
        mix=Mix(names=GYPSUM_PARTS, ratio=water),
        sources=(
            ("density_g_cm3", "computed from powder 2.64 g/cm³ (crystal data, second-hand) and the water"),
            (
                "liquid_density_g_cm3",
                "computed from powder 2.64 g/cm³ (crystal data, second-hand) and the water",
            ),
            ("mix", "dental-materials textbook, table 8.2"),
            ("shrinkage", "lecture digest, second-hand"),
        ),
        cautions=(cautions.PLASTER,),
    )


_WAX: Final = Material(
    name="casting wax",
    density_g_cm3=Range(0.88, 0.91, 0.97),
    liquid_density_g_cm3=Range(0.76, 0.80, 0.85),
    shrinkage=_percent(1.2, 1.6, 1.9),
    viscosity_pa_s=Range(0.003, 0.006, 0.02),
    pot_life_s=None,
    flexible=False,
    melted=True,
    mix=Mix(names=("wax",)),
    sources=(
        ("density_g_cm3", "general pages, second-hand (paraffin type); PMC11876593 (beeswax)"),
        ("liquid_density_g_cm3", "general pages, second-hand"),
        ("shrinkage", "PMC11876593: beeswax rods cast at 63 to 70 °C in a closed mould (open: 2.5 to 3.4 %)"),
        ("viscosity_pa_s", "order of magnitude from general pages, second-hand"),
    ),
    cautions=(cautions.HOT_WAX,),
)

_VOLUMETRIC_ACRYLIC: Final = (0.0507, 0.0743)

GENERIC: Final = (
    _silicone(
        "addition-cure silicone",
        Range(1.05, 1.12, 1.20),
        _percent(0.0, 0.1, 0.2),
        Range(3.0, 12.0, 40.0),
        _minutes(5, 30, 90),
    ),
    _silicone(
        "condensation-cure silicone",
        Range(1.08, 1.18, 1.30),
        _percent(0.2, 0.5, 1.0),
        Range(5.0, 18.0, 40.0),
        _minutes(20, 45, 90),
    ),
    _WAX,
    _resin(
        "cold-cure acrylic",
        Range(1.17, 1.18, 1.20),
        combined(
            lambda v: 1.0 - (1.0 - v) ** (1.0 / 3.0),
            Range(_VOLUMETRIC_ACRYLIC[0], 0.0625, _VOLUMETRIC_ACRYLIC[1]),
        ),
        Range(0.3, 1.0, 3.0),
        _minutes(3, 5, 10),
        Mix(names=("powder", "liquid"), ratio=Range(0.4, 0.5, 0.6)),
    ),
    _resin(
        "polyurethane",
        Range(1.03, 1.08, 1.20),
        _percent(0.1, 0.4, 1.0),
        Range(0.05, 0.3, 2.0),
        _minutes(1, 5, 30),
        Mix(names=("A", "B")),
    ),
    _resin(
        "epoxy",
        Range(1.1, 1.15, 1.3),
        _percent(0.01, 0.3, 1.0),
        Range(0.3, 1.0, 5.0),
        _minutes(10, 30, 120),
        Mix(names=("resin", "hardener"), ratio=Range(0.25, 0.5, 1.0)),
    ),
    _gypsum("gypsum plaster", Range(0.40, 0.45, 0.50), _percent(0.2, 0.25, 0.3), _minutes(3, 6, 12)),
    _gypsum("gypsum stone", Range(0.25, 0.28, 0.30), _percent(0.08, 0.09, 0.10), _minutes(3, 5, 10)),
)
"""The generic classes; every figure is a range, most of them from memory: replace them by a data sheet."""


def find_material(name: str) -> Material:
    """Return the generic class of that name; case, hyphens and underscores do not matter.

    Raises
    ------
    UsageError
        If there is no such class.

    Examples
    --------
    >>> find_material("Addition_cure-silicone").name
    'addition-cure silicone'
    """
    wanted = _plain(name)
    for material in GENERIC:
        if _plain(material.name) == wanted:
            return material
    known = ", ".join(material.name for material in GENERIC)
    raise UsageError(f"'{name}' is not a material class.", remedy=f"Use one of {known}.")


def _plain(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())
