"""Numbers in words: no more digits than the uncertainty supports."""

import math
import re
from typing import Final

Value = float | str | None
"""What a figure can be; whole numbers and yes or no are numbers too."""

LEAST: Final = 0.001
"""Amounts below this are shown as such: a thousandth of a millimetre, gram or second means nothing here."""

_AMOUNTS: Final = frozenset({"mm", "mm²", "mm³", "cm³", "g", "s", "N", "Pa", "°", "%"})
_PLAIN_DIGITS: Final = 4
_MINUS: Final = "−"
_THIN_SPACE: Final = "\u202f"


def number_words(value: float, *, uncertainty: float | None = None) -> str:
    r"""Return a number with the decimals of its uncertainty's first digit.

    Parameters
    ----------
    value : float
        Any finite number; others become words.
    uncertainty : float, optional
        Standard uncertainty. Without one, four significant digits are shown.

    Notes
    -----
    One significant digit of the uncertainty sets the last digit of the value: a case of JCGM 100:2008
    (GUM) 7.2.6, which allows at most two.

    Examples
    --------
    >>> number_words(21375.396, uncertainty=130.0), number_words(4.0125, uncertainty=0.1)
    ('21\u202f400', '4.0')
    """
    if not math.isfinite(value):
        return "not a number" if math.isnan(value) else ("infinite" if value > 0 else f"{_MINUS}infinite")
    if uncertainty is None or not math.isfinite(uncertainty) or uncertainty <= 0:
        return _signed(_plain(value))
    step = _first_digit(uncertainty)
    return _in_steps(round(value / step), step)


def uncertainty_words(uncertainty: float) -> str:
    """Return an uncertainty with one digit, rounded up so that it is never understated.

    Examples
    --------
    >>> uncertainty_words(0.13), uncertainty_words(0.1)
    ('0.2', '0.1')
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return number_words(uncertainty)
    step = _first_digit(uncertainty)
    return _in_steps(math.ceil(uncertainty / step - 1e-9), step)


def _first_digit(uncertainty: float) -> float:
    return float(10.0 ** math.floor(math.log10(uncertainty) + 1e-12))


def _in_steps(count: int, step: float) -> str:
    decimals = max(0, -round(math.log10(step)))
    return _signed(f"{count * step:.{decimals}f}")


def is_negligible(value: float, unit: str) -> bool:
    """Return whether an amount is too small to matter, though not zero.

    Examples
    --------
    >>> is_negligible(5e-14, "mm"), is_negligible(0.0, "mm"), is_negligible(5e-14, "")
    (True, False, False)
    """
    return unit in _AMOUNTS and 0 < abs(value) < LEAST


def parts_words(share: float, power: int) -> str:
    """Return a relative error in parts of a power of ten.

    Examples
    --------
    >>> parts_words(2.8e-11, 9), parts_words(3e-16, 9)
    ('0.028 parts in 10⁹', 'below 0.001 parts in 10⁹')
    """
    parts = abs(share) * 10.0**power
    words = f"below {LEAST:g}" if 0 < parts < LEAST else f"{float(f'{parts:.2g}'):g}"
    return f"{words} part{'' if words == '1' else 's'} in 10{_superscript(power)}"


def value_words(value: Value, *, unit: str = "", uncertainty: float | None = None) -> str:
    """Return a value and its unit as shown on the sheets.

    Examples
    --------
    >>> value_words(12), value_words(True), value_words(None), value_words(2.5, unit="mm")
    ('12', 'yes', 'unknown', '2.5 mm')
    >>> value_words(4.9e-14, unit="mm"), value_words(0.0069, unit="°")
    ('below 0.001 mm', '0.0069°')
    """
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if is_negligible(value, unit):
        words = f"below {LEAST:g}"
    elif isinstance(value, int):
        words = _signed(str(value))
    else:
        words = number_words(value, uncertainty=uncertainty)
    return f"{words}°" if unit == "°" else f"{words} {unit}".strip()


def _plain(value: float) -> str:
    if value == 0 or 1e-3 <= abs(value) < 1e6:
        decimals = _PLAIN_DIGITS - 1 - (math.floor(math.log10(abs(value))) if value else 0)
        text = f"{round(value, decimals):.{max(decimals, 0)}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    mantissa, exponent = f"{value:.{_PLAIN_DIGITS - 1}e}".split("e")
    return f"{mantissa.rstrip('0').rstrip('.')} × 10{_superscript(int(exponent))}"


def _superscript(number: int) -> str:
    return str(number).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))


def _signed(text: str) -> str:
    """Return digits with a true minus, and in groups of three from five digits on (SI brochure, 5.4.4)."""
    text = text.replace("-", _MINUS)
    whole = re.match(rf"{_MINUS}?(\d{{5,}})", text)
    if whole is None:
        return text
    grouped = f"{int(whole[1]):,}".replace(",", _THIN_SPACE)
    return text[: whole.start(1)] + grouped + text[whole.end(1) :]
