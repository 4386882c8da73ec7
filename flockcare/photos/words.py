"""Figures as keepers read them."""

from math import floor, log10

MEGABYTE, GIGABYTE = 1e6, 1e9  # SI prefixes


def plus_minus(value: float, error: float, unit: str) -> str:
    """``61 ± 4 mm²``: no more figures than the uncertainty lets stand."""
    places = max(0, -floor(log10(error))) if error > 0 else 1
    # One more where the first figure is a 1: "± 1" hides a half more or less.
    if error > 0 and error * 10**places < 1.95:
        places += 1
    places = min(places, 2)
    return f"{value:.{places}f} ± {error:.{places}f} {unit}".rstrip()


def area(measured, unit: str = "mm²") -> str:
    return plus_minus(measured.area_mm2, measured.area_error_mm2, unit)


def diameter(measured, unit: str = "mm") -> str:
    return plus_minus(measured.longest_diameter_mm, measured.diameter_error_mm, unit)


def size(count: int) -> str:
    """Bytes in MB or GB."""
    if count >= GIGABYTE:
        return f"{count / GIGABYTE:.1f} GB"
    return f"{count / MEGABYTE:.1f} MB"
