"""What has to be told apart at a glance, by the colours of dark screens."""

import re
from pathlib import Path

import pytest

STATIC = Path(__file__).resolve().parents[2] / "static" / "css"
CSS = (STATIC / "flockcare.css").read_text()
DARK = "\n".join(
    re.findall(r"@media screen and \(prefers-color-scheme: dark\) \{\n(.*?)\n\}", CSS, re.DOTALL)
)
COLOURS = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", DARK))


def luminance(colour: str) -> float:
    """Relative luminance: WCAG 2.2, definition."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition: 21 between black and white."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_is_that_of_the_guidelines():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


def test_each_score_has_a_tone_of_its_own():
    """The open ring is drawn in ink; WCAG 2.2, 1.4.11: 3 at least against what is behind."""
    half = re.search(r"svg\.score-1 { color: ([^;]+); }", CSS)[1]
    disc = re.search(r"svg\.score-2 { color: ([^;]+); }", DARK)[1]
    assert half == "var(--ochre)"
    tones = [COLOURS["ink"], COLOURS["ochre"], disc]
    assert len(set(tones)) == 3
    for tone in tones:
        assert min(contrast(tone, COLOURS[ground]) for ground in ("card", "ground")) >= 3
    # Red, not another white.
    red, green, blue = (int(disc[at : at + 2], 16) for at in (1, 3, 5))
    assert red - max(green, blue) >= 90


def test_the_vets_button_is_a_strong_red_in_the_dark():
    """WCAG 2.2, 1.4.3: 4.5 at least for its words, and its edge stands out (1.4.11)."""
    button = COLOURS["vet"]
    assert contrast(button, COLOURS["on-vet"]) >= 4.5
    assert contrast(COLOURS["oxblood"], COLOURS["card"]) >= 3
    red, green, blue = (int(button[at : at + 2], 16) for at in (1, 3, 5))
    assert red - max(green, blue) >= 120
    care = (STATIC / "care.css").read_text()
    assert re.search(r"\.call-vet \.button:not\(\.plain\) \{ background: var\(--vet\);", care)
