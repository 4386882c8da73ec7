"""Photos of the printed card, computed: every point of the card is known in millimetres.

A pinhole camera with the field of view of a phone's main camera (26 mm on 36 × 24 mm film), radial
distortion, paper bent to a cylinder, uneven light, defocus and motion in linear light, shot and
read noise, the sRGB curve, sharpening and JPEG. The frame of the card: origin in the middle of
the window, x right, y down, z away from the camera.
"""

import io
from dataclasses import dataclass, field

import cv2
import numpy as np
from PIL import Image, ImageDraw

from flockcare.photos import cards

WINDOW_MIDDLE = np.array(
    [cards.WINDOW[0] + cards.WINDOW[2] / 2, cards.WINDOW[1] + cards.WINDOW[3] / 2]
)
CARD_MIDDLE = np.array([cards.WIDTH / 2, cards.HEIGHT / 2])
CARD_EDGE = np.array(
    [(0, 0), (cards.WIDTH, 0), (cards.WIDTH, cards.HEIGHT), (0, cards.HEIGHT)], dtype=float
)
FILM_DIAGONAL = np.hypot(36, 24)


@dataclass(frozen=True)
class Scene:
    """How one photo is taken. Lengths in mm, angles in degrees, blur on the card in mm.

    distance: from the lens to the middle of the card; tilt towards ``tilt_towards``; turn: in the
    picture; aside: where the middle of the card stands, in half pictures from the middle.
    barrel: relative shift at the picture's corner. sag: how far the ends of the card lie above
    the tangent in the window's middle if its whole width bent; sag_along: direction of bending.
    crease: (degrees, mm from the window's middle, direction) of a fold; it takes no sag.
    defocus: diameter of the blur disc; motion: length of the smear.
    covers: (x, y, radius) patches in card mm; glares: the same, bright.
    paper: a picture printed in the card's place.
    cut: how far inside its line each side of the card was cut (left, top, right, bottom); the
    window's own sides by as much too far out.
    shadow: (direction, distance from the card's middle, light left in it), hard-edged.
    electrons: at white (sets the noise); jpeg: quality, 0 for none.
    """

    code: str = "fc1:ABCDEFGHJK"
    size: tuple = (1600, 1200)
    distance: float = 200.0
    tilt: float = 0.0
    tilt_towards: float = 0.0
    turn: float = 0.0
    aside: tuple = (0.0, 0.0)
    film_focal: float = 26.0
    barrel: float = 0.0
    sag: float = 0.0
    sag_along: float = 0.0
    crease: tuple = (0.0, 0.0, 0.0)
    defocus: float = 0.0
    motion: float = 0.0
    motion_along: float = 0.0
    covers: tuple = ()
    glares: tuple = ()
    light_slope: float = 0.0
    shadow: tuple = (0.0, 0.0, 1.0)
    exposure: float = 0.8
    electrons: float = 4000.0
    sharpening: float = 0.5
    jpeg: int = 85
    seed: int = 0
    dark_ground: bool = False
    paper: Image.Image | None = None
    cut: tuple = (0.0, 0.0, 0.0, 0.0)
    sore: np.ndarray = field(default_factory=lambda: ellipse(9.0, 7.0))

    @property
    def focal(self):
        """Focal length in pixels."""
        return self.film_focal / FILM_DIAGONAL * np.hypot(*self.size)

    def rotation(self):
        turn, tilt, towards = np.radians([self.turn, self.tilt, self.tilt_towards])
        axis = np.array([-np.sin(towards), np.cos(towards), 0.0])
        lean, _ = cv2.Rodrigues(axis * tilt)
        spin, _ = cv2.Rodrigues(np.array([0.0, 0.0, turn]))
        return lean @ spin

    def position(self):
        """Middle of the window as seen from the camera."""
        half = np.array(self.size) / 2
        middle = np.append(np.array(self.aside) * half / self.focal, 1.0) * self.distance
        offset = np.append(CARD_MIDDLE - WINDOW_MIDDLE, 0.0)
        return middle - self.rotation() @ offset


def ellipse(a, b, points=72, wobble=0.12, seed=1):
    """An uneven round outline about the window's middle, (n, 2) card mm."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    radius = 1 + sum(
        wobble / k * np.sin(k * angle + phase)
        for k, phase in ((2, rng.uniform(0, 6)), (3, rng.uniform(0, 6)))
    )
    return WINDOW_MIDDLE + np.column_stack([a * np.cos(angle), b * np.sin(angle)]) * radius[:, None]


def project(scene, points_mm, height=0.0):
    """Flat points about the window, (n, 2) card mm and ``height`` mm above the card, in pixels.

    They lie in the plane that touches the paper in the middle of the window.
    """
    flat = np.asarray(points_mm, dtype=float) - WINDOW_MIDDLE
    return _to_pixels(scene, np.column_stack([flat, np.full(len(flat), -height)]))


def project_paper(scene, points_mm):
    """Points of the bent paper, (n, 2) card mm along it, in pixels."""
    return _to_pixels(scene, _bend(scene, np.asarray(points_mm, dtype=float) - WINDOW_MIDDLE))


def pixels_per_mm(scene):
    """In the middle of the window."""
    step = project(scene, WINDOW_MIDDLE + np.array([(0, 0), (0.5, 0), (0, 0.5)]))
    return float(np.sqrt(abs(np.linalg.det(step[1:] - step[0])))) / 0.5


def render(scene, mode="L"):
    """The photo, a PIL image."""
    rng = np.random.default_rng(scene.seed)
    ground = _ground(scene, rng)
    box = _box_of_card(scene)
    light = _to_linear(ground[box].astype(np.float32) / 255)
    light = _smear(scene, _card_in_light(scene, box, light))
    ground[box] = _expose(scene, light, rng)
    photo = Image.fromarray(ground)
    if mode != "L":
        photo = photo.convert(mode)
    if not scene.jpeg:
        return photo
    buffer = io.BytesIO()
    photo.save(buffer, "JPEG", quality=scene.jpeg)
    return Image.open(buffer)


def empty(size, seed=0, dark=False):
    """A photo of the same ground without a card."""
    scene = Scene(size=size, seed=seed, dark_ground=dark)
    return Image.fromarray(_ground(scene, np.random.default_rng(seed)))


# --- geometry ---------------------------------------------------------------------------------


def _to_pixels(scene, points):
    seen = points @ scene.rotation().T + scene.position()
    straight = seen[:, :2] / seen[:, 2:] * scene.focal
    half_diagonal = np.hypot(*scene.size) / 2
    bent = straight.copy()
    for _ in range(20):
        bent = straight / (
            1 + scene.barrel * (bent**2).sum(axis=1, keepdims=True) / half_diagonal**2
        )
    return bent + (np.array(scene.size) - 1) / 2


def _curvature(scene):
    half = cards.WIDTH / 2
    return 2 * scene.sag / half**2


def _crease(scene):
    """Angle in radians, distance of the fold from the window's middle, direction to it."""
    degrees, place, along = scene.crease
    return (
        np.radians(degrees),
        place,
        np.array([np.cos(np.radians(along)), np.sin(np.radians(along))]),
    )


def _bend(scene, flat):
    if scene.crease[0]:
        fold, place, unit = _crease(scene)
        beyond = np.maximum(flat @ unit - place, 0)
        moved = flat + np.outer(beyond * (np.cos(fold) - 1), unit)
        return np.column_stack([moved, -beyond * np.sin(fold)])
    curve = _curvature(scene)
    along = np.radians(scene.sag_along)
    unit = np.array([np.cos(along), np.sin(along)])
    if curve == 0:
        return np.column_stack([flat, np.zeros(len(flat))])
    length = flat @ unit
    moved = flat + np.outer(np.sin(curve * length) / curve - length, unit)
    return np.column_stack([moved, -(1 - np.cos(curve * length)) / curve])


def _box_of_card(scene):
    edge = np.concatenate(
        [np.linspace(a, b, 12) for a, b in zip(CARD_EDGE, np.roll(CARD_EDGE, -1, 0), strict=True)]
    )
    pixels = project_paper(scene, edge)
    margin = 6 + 2 * (scene.defocus + scene.motion) * pixels_per_mm(scene)
    left, top = np.maximum(pixels.min(axis=0) - margin, 0).astype(int)
    right, bottom = np.minimum(pixels.max(axis=0) + margin, scene.size).astype(int)
    return slice(top, bottom), slice(left, right)


def _card_places(scene, box):
    """Card mm seen by each pixel of the box, as two float32 arrays."""
    rows, columns = box
    half = (np.array(scene.size) - 1) / 2
    x = np.arange(columns.start, columns.stop, dtype=np.float32)[None, :] - np.float32(half[0])
    y = np.arange(rows.start, rows.stop, dtype=np.float32)[:, None] - np.float32(half[1])
    out = 1 + scene.barrel * (x * x + y * y) / (np.hypot(*scene.size) / 2) ** 2
    back = scene.rotation().T
    start = -back @ scene.position()
    ray = [r[0] * (x * out) + r[1] * (y * out) + r[2] * scene.focal for r in back]
    curve = _curvature(scene)
    if scene.crease[0]:
        return _creased_places(scene, start, ray)
    if curve == 0:
        t = -start[2] / ray[2]
        return [start[i] + t * ray[i] + WINDOW_MIDDLE[i] for i in (0, 1)]
    along = np.radians(scene.sag_along)
    c, s = np.cos(along), np.sin(along)
    p, q = c * start[0] + s * start[1], -s * start[0] + c * start[1]
    dp, dq = c * ray[0] + s * ray[1], -s * ray[0] + c * ray[1]
    # Cylinder: p² + (z + 1/curve)² = 1/curve², near the origin.
    a = curve * (dp**2 + ray[2] ** 2)
    b = 2 * (curve * (p * dp + start[2] * ray[2]) + ray[2])
    k = curve * (p**2 + start[2] ** 2) + 2 * start[2]
    root = np.sqrt(np.maximum(b * b - 4 * a * k, 0))
    t = np.where(b > 0, -2 * k / (b + root), (root - b) / (2 * a))  # both are the same root
    length = np.arctan2(curve * (p + t * dp), 1 + curve * (start[2] + t * ray[2])) / curve
    across = q + t * dq
    return [c * length - s * across + WINDOW_MIDDLE[0], s * length + c * across + WINDOW_MIDDLE[1]]


def _creased_places(scene, start, ray):
    """Where rays meet the paper before its fold, and else beyond it."""
    fold, place, (c, s) = _crease(scene)
    t = -start[2] / ray[2]
    x, y = start[0] + t * ray[0], start[1] + t * ray[1]
    # Beyond: z = −(p − place) tan(fold), where p is measured towards the fold.
    slope, p, dp = np.tan(fold), c * start[0] + s * start[1], c * ray[0] + s * ray[1]
    t2 = -(start[2] + slope * (p - place)) / (ray[2] + slope * dp)
    p2, q2 = p + t2 * dp, -s * start[0] + c * start[1] + t2 * (-s * ray[0] + c * ray[1])
    length = place + (p2 - place) / np.cos(fold)
    beyond = c * x + s * y > place
    return [
        np.where(beyond, c * length - s * q2, x) + WINDOW_MIDDLE[0],
        np.where(beyond, s * length + c * q2, y) + WINDOW_MIDDLE[1],
    ]


# --- light ------------------------------------------------------------------------------------


def _ground(scene, rng):
    """Uneven ground such as bedding, (height, width) uint8."""
    width, height = scene.size
    brightest = 70 if scene.dark_ground else 220
    ground = np.zeros((height, width), dtype=np.uint8)
    for cells in (6, 40, 200, width // 2):
        shape = max(2, cells * height // width), cells
        coarse = rng.integers(0, brightest // 4, shape, dtype=np.uint8)
        ground += cv2.resize(coarse, (width, height), interpolation=cv2.INTER_LINEAR)
    return ground


def _print(scene, scale):
    """The card as printed, with foot and sore in its window: linear light at ``scale`` px/mm."""
    if scene.paper is not None:
        size = round(cards.WIDTH * scale), round(cards.HEIGHT * scale)
        paper = np.asarray(scene.paper.convert("L").resize(size), dtype=np.float32)
        return 0.03 + 0.85 * _to_linear(paper / 255)
    image = np.array(cards.render_card(scene.code, dpi=scale * cards.MM_PER_INCH), dtype=np.float32)
    left, top, right, bottom = scene.cut
    x, y, width, height = cards.WINDOW
    x, y, width, height = x - left, y - top, width + left + right, height + top + bottom
    x, y, width, height = (round(v * scale) for v in (x, y, width, height))
    inside = image[y : y + height, x : x + width]
    rng = np.random.default_rng(scene.seed + 1)
    skin = cv2.resize(rng.uniform(150, 190, (14, 15)).astype(np.float32), (width, height))
    inside[:] = skin
    sore = np.rint((scene.sore * scale - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(image, [sore], 60.0, cv2.LINE_AA, 4)
    # Ink is never quite black and paper never quite white.
    return 0.03 + 0.85 * _to_linear(image / 255)


def _card_in_light(scene, box, ground):
    x, y = _card_places(scene, box)
    scale = min(24.0, max(4.0, 1.2 * pixels_per_mm(scene)))
    paper = _print(scene, scale)
    map_x, map_y = ((v * scale - 0.5).astype(np.float32) for v in (x, y))
    seen = cv2.remap(paper, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    left, top, right, bottom = scene.cut
    on_card = (x >= left) & (x <= cards.WIDTH - right)
    on_card &= (y >= top) & (y <= cards.HEIGHT - bottom)
    seen = np.where(on_card, seen, ground)
    seen *= 1 + scene.light_slope * (x - CARD_MIDDLE[0]) / cards.WIDTH
    direction, distance, left = scene.shadow
    c, s = np.cos(np.radians(direction)), np.sin(np.radians(direction))
    seen[c * (x - CARD_MIDDLE[0]) + s * (y - CARD_MIDDLE[1]) > distance] *= left
    for cx, cy, radius in scene.covers:
        seen[(x - cx) ** 2 + (y - cy) ** 2 < radius**2] = 0.35
    for cx, cy, radius in scene.glares:
        seen += 1.5 * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * (radius / 2) ** 2))
    return seen


def _smear(scene, light):
    scale = pixels_per_mm(scene)
    light = cv2.GaussianBlur(light, (0, 0), 0.7)  # lens and colour filter of a sharp phone photo
    if scene.defocus:
        light = cv2.filter2D(light, -1, _disc(scene.defocus * scale / 2))
    if scene.motion:
        light = cv2.filter2D(light, -1, _line(scene.motion * scale, scene.motion_along))
    return light


def _disc(radius):
    reach = int(np.ceil(radius)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    return kernel / kernel.sum()


def _line(length, along):
    reach = int(np.ceil(length / 2)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    c, s = np.cos(np.radians(along)), np.sin(np.radians(along))
    on = np.clip(length / 2 + 0.5 - abs(c * x + s * y), 0, 1) * np.clip(
        1 - abs(c * y - s * x), 0, 1
    )
    return (on / on.sum()).astype(np.float32)


def _expose(scene, light, rng):
    """What the camera makes of the light, uint8."""
    light = np.clip(light * np.float32(scene.exposure / 0.85), 0, 4)
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    light += noise * np.sqrt(light / scene.electrons + (3 / scene.electrons) ** 2)
    value = _to_srgb(np.clip(light, 0, 1)) * 255
    if scene.sharpening:
        value += np.float32(scene.sharpening) * (value - cv2.GaussianBlur(value, (0, 0), 1.2))
    return np.clip(np.rint(value), 0, 255).astype(np.uint8)


# The curve of IEC 61966-2-1 (sRGB), from memory.
def _to_linear(value):
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(
        np.float32
    )


def _to_srgb(light):
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055).astype(
        np.float32
    )


# --- painted feet -----------------------------------------------------------------------------

SKINS = {"yellow": (205, 170, 105), "pale": (214, 182, 160), "slate": (120, 124, 128)}
SORES = {"black scab": (48, 38, 34), "brown scab": (110, 70, 44), "red sore": (166, 58, 52)}


def painted_foot(seed, size=(1600, 1200), skin=None, sore=None):
    """A painted sole with one sore: (RGB image, outline (n, 2) pixels, a tap in it, kind).

    Scaled skin, uneven light, a red and a horny rim round the sore, dirt, a wet gleam, a soft edge,
    noise and JPEG. skin, sore: names in SKINS and SORES, else drawn by lot.
    """
    rng = np.random.default_rng(seed)
    skin = skin or str(rng.choice(list(SKINS)))
    sore = sore or str(rng.choice(list(SORES)))
    short = min(size)
    radius = short * np.exp(rng.uniform(np.log(0.015), np.log(0.18)))
    middle = np.array(size) / 2 + rng.uniform(-0.12, 0.12, 2) * short
    outline = _uneven_ring(rng, middle, radius)
    inside, distance = _inside(size, outline)
    picture = _skin(rng, size, SKINS[skin])
    reddening = np.exp(-np.maximum(distance, 0) / (0.35 * radius)) * rng.uniform(0, 0.5)
    picture += reddening[..., None] * (np.array([190, 90, 80], np.float32) - picture)
    rim = np.exp(-((distance / (0.08 * radius) - 1.5) ** 2)) * rng.uniform(0, 0.5)
    picture += rim[..., None] * (np.array([225, 215, 190], np.float32) - picture)
    scab = _texture(rng, size, cells=(14, 60, 160), strength=rng.uniform(0.1, 0.45))
    scab = np.array(SORES[sore], np.float32) * scab[..., None]
    soft = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), rng.uniform(0.5, 0.002 * short))
    picture += soft[..., None] * (scab - picture)
    picture *= _texture(rng, size, cells=(2, 4), strength=rng.uniform(0, 0.5))[..., None]
    _dirt_and_gleam(rng, picture, middle, radius)
    picture += rng.standard_normal(picture.shape, dtype=np.float32) * rng.uniform(1, 8)
    buffer = io.BytesIO()
    photo = Image.fromarray(np.clip(np.rint(picture), 0, 255).astype(np.uint8))
    photo.save(buffer, "JPEG", quality=int(rng.choice([60, 80, 92])))
    return Image.open(buffer), outline, _tap(rng, outline), f"{sore}, {skin} skin"


def bare_foot(seed, size=(1600, 1200)):
    """The same sole without a sore: (RGB image, a tap on it)."""
    rng = np.random.default_rng(seed)
    picture = _skin(rng, size, SKINS[str(rng.choice(list(SKINS)))])
    picture *= _texture(rng, size, cells=(2, 4), strength=rng.uniform(0, 0.5))[..., None]
    picture += rng.standard_normal(picture.shape, dtype=np.float32) * rng.uniform(1, 8)
    tap = np.array(size) * rng.uniform(0.35, 0.65, 2)
    return Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)), tap


def _uneven_ring(rng, middle, radius):
    angle = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    uneven = sum(
        rng.uniform(0, 0.35) / k**1.2 * np.sin(k * angle + rng.uniform(0, 6)) for k in range(2, 8)
    )
    stretch = rng.uniform(0.7, 1.0)
    turn = rng.uniform(0, np.pi)
    ring = np.column_stack([np.cos(angle), stretch * np.sin(angle)]) * (1 + uneven)[:, None]
    c, s = np.cos(turn), np.sin(turn)
    return middle + radius * ring @ np.array([(c, s), (-s, c)])


def _inside(size, outline):
    """Mask of the sore, and the distance from it outside (negative inside), in pixels."""
    fine = 4
    corner = np.floor(outline.min(axis=0)).astype(int) - 1
    width, height = np.ceil(outline.max(axis=0)).astype(int) + 2 - corner
    large = Image.new("L", (width * fine, height * fine), 0)
    points = (outline - corner + 0.5) * fine - 0.5
    ImageDraw.Draw(large).polygon([tuple(point) for point in points.tolist()], fill=255)
    small = np.asarray(large.resize((width, height), Image.Resampling.BOX)) > 127
    mask = np.zeros(size[::-1], np.uint8)
    mask[corner[1] : corner[1] + height, corner[0] : corner[0] + width] = small
    outer = cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    return mask, outer - cv2.distanceTransform(mask, cv2.DIST_L2, 5)


def _texture(rng, size, cells, strength):
    """Soft uneven brightness about 1, (height, width) float32."""
    width, height = size
    total = np.zeros((height, width), np.float32)
    for count in cells:
        coarse = rng.uniform(-1, 1, (max(2, count * height // width), count)).astype(np.float32)
        total += cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC) / len(cells)
    return np.clip(1 + strength * total, 0.2, 2).astype(np.float32)


def _skin(rng, size, colour):
    """Skin of small round scales with darker furrows, (height, width, 3) float32."""
    width, height = size
    pitch = min(size) / rng.uniform(25, 60)
    x, y = np.meshgrid(np.arange(0, width + pitch, pitch), np.arange(0, height + pitch, pitch))
    centres = (
        np.column_stack([x.ravel(), y.ravel()]) + rng.uniform(-0.35, 0.35, (x.size, 2)) * pitch
    )
    dots = np.ones((height, width), np.uint8)
    column, row = np.clip(centres, 0, (width - 1, height - 1)).astype(int).T
    dots[row, column] = 0
    away = cv2.distanceTransform(dots, cv2.DIST_L2, 5) / pitch
    shade = 1 - rng.uniform(0.05, 0.3) * np.clip(away * 1.4, 0, 1) ** 3
    shade *= _texture(rng, size, cells=(8, 30), strength=0.12)
    return np.array(colour, np.float32) * shade[..., None].astype(np.float32)


def _dirt_and_gleam(rng, picture, middle, radius):
    height, width = picture.shape[:2]
    y, x = np.ogrid[:height, :width]
    for _ in range(int(rng.integers(0, 25))):
        at = rng.uniform(0, 1, 2) * (width, height)
        size = rng.uniform(0.02, 0.12) * radius
        picture[(x - at[0]) ** 2 + (y - at[1]) ** 2 < size**2] = (70, 58, 46)
    if rng.random() < 0.4:
        at = middle + rng.uniform(-0.6, 0.6, 2) * radius
        size = rng.uniform(0.05, 0.15) * radius
        gleam = np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * size**2)).astype(np.float32)
        picture += 160 * gleam[..., None]


def _tap(rng, outline):
    """A thumb's idea of the middle: a third of the way out at most, and inside."""
    middle = outline.mean(axis=0)
    towards = outline[rng.integers(len(outline))]
    return middle + (towards - middle) * rng.uniform(0, 0.4)
