"""Draws the app's icon, a hen's foot, as the PNG files that phones want.

.venv/bin/python -m flockcare.offline.icons        writes them beside static/img/icon.svg
"""

from pathlib import Path

from PIL import Image, ImageDraw

FOLDER = Path(__file__).resolve().parents[2] / "static" / "img"
GREEN, STRAW = "#1c5536", "#f8e7bf"
# In the units of icon.svg, which is 64 wide: the toes and the hind toe, and the pad.
TOES = [((32, 40), (32, 12)), ((32, 40), (14, 20)), ((32, 40), (50, 20)), ((32, 40), (32, 52))]
TOE, PAD, CORNER = 6, 7, 14
FINER = 4  # drawn so much larger, then made smaller, for smooth edges
# W3C, Web Application Manifest, "maskable" icons: a circle of 80 % of the width is always shown.
SAFE = 0.8


def icon(side: int, *, maskable: bool = False) -> Image.Image:
    """The icon; a maskable one fills its square and keeps the foot inside the safe circle."""
    size = side * FINER
    image = Image.new("RGBA", (size, size), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)
    pen.rounded_rectangle((0, 0, size - 1, size - 1), 0 if maskable else CORNER * size / 64, GREEN)
    scale = size / 64 * (SAFE if maskable else 1)

    def place(point):
        return tuple(size / 2 + (value - 32) * scale for value in point)

    def disc(point, radius):
        x, y = place(point)
        reach = radius * scale
        pen.ellipse((x - reach, y - reach, x + reach, y + reach), STRAW)

    for toe in TOES:
        pen.line([place(end) for end in toe], STRAW, round(TOE * scale))
        for end in toe:
            disc(end, TOE / 2)
    disc((32, 40), PAD)
    return image.resize((side, side), Image.Resampling.LANCZOS)


ICONS = {
    "icon-192.png": {"side": 192},
    "icon-512.png": {"side": 512},
    "icon-maskable-512.png": {"side": 512, "maskable": True},
}

if __name__ == "__main__":
    for name, how in ICONS.items():
        icon(**how).save(FOLDER / name, optimize=True)
