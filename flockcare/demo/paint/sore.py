"""A sore on the foot: its exact outline, its scab, the swelling and the healing skin round it."""

from dataclasses import dataclass

import numpy as np

from flockcare.demo.paint.texture import blur, fog, mix

SCABS = {"none": (196, 112, 98), "brown": (98, 64, 42), "black": (44, 36, 34)}
FLUSH = np.float32((0.10, 0.36, 0.34))
NEW_SKIN = (236, 178, 158)


@dataclass(frozen=True)
class Sore:
    """place: one of anatomy.PLACES. scab: one of SCABS. swelling, healing: 0 … 1.

    area_mm2: inside the outline. The same seed gives the same form at every area.
    """

    place: str = "pad"
    area_mm2: float = 40.0
    scab: str = "brown"
    swelling: float = 0.0
    healing: float = 0.0
    seed: int = 0


def outline_of(sore: Sore, middle) -> np.ndarray:
    """(90, 2) closed irregular oval about `middle` in mm, of exactly the area asked for."""
    random = np.random.default_rng(sore.seed)
    around = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    reach = np.ones_like(around)
    for waves in range(2, 7):
        swing = random.normal(0, 0.16 / waves)
        reach += swing * np.cos(waves * around + random.uniform(0, 2 * np.pi))
    points = np.column_stack([np.cos(around), np.sin(around)]) * reach[:, None]
    points *= np.sqrt(sore.area_mm2 / polygon_area(points))
    return points + np.asarray(middle)


def polygon_area(points) -> float:
    """Shoelace formula."""
    x, y = np.asarray(points, float).T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def add_sore(skin, sore: Sore, middle) -> np.ndarray:
    """Change the skin where the sore is; returns the outline in the plane, mm."""
    outline = outline_of(sore, middle)
    radius = np.sqrt(sore.area_mm2 / np.pi)
    random = np.random.default_rng(sore.seed + 1)
    part = skin.around(outline.mean(0) + np.array([(-1, -1), (1, 1)]) * (radius * 2.4 + 22))
    inside = _inside(skin, outline, np.asarray(middle), part)
    _swell(skin, part, inside, radius, sore.swelling)
    _redden(skin, part, inside, 0.25 + 0.2 * sore.swelling)
    if sore.healing:
        _new_skin(skin, part, inside, sore.healing, random)
    _cover(skin, part, inside, radius, sore.scab, random)
    return outline


def _inside(skin, outline, middle, part):
    """How far each point lies within the outline along its ray from `middle`, mm."""
    away = outline - middle
    angles = np.arctan2(away[:, 1], away[:, 0])
    order = np.argsort(angles)
    across, down = skin.x[part] - np.float32(middle[0]), skin.y[part] - np.float32(middle[1])
    reach = np.interp(
        np.arctan2(down, across), angles[order], np.hypot(*away.T)[order], period=2 * np.pi
    )
    return (reach - np.hypot(across, down)).astype(np.float32)


def _swell(skin, part, inside, radius: float, swelling: float) -> None:
    bulge = np.exp(-((np.clip(-inside, 0, None) / (5.0 + 0.4 * radius)) ** 2)) * swelling
    bulge *= np.clip(skin.edge[part] / 3, 0, 1)
    bulge = blur(bulge, 1.5 * skin.view.scale)
    skin.relief[part] += 5.5 * bulge
    skin.grain[part] *= 1 - 0.75 * bulge  # stretched skin is smooth and shines
    skin.gloss[part] += 0.3 * bulge
    skin.colour[part] = _flushed(skin.colour[part], 0.62 * bulge)


def _redden(skin, part, inside, strength: float) -> None:
    halo = np.exp(-((np.clip(-inside, 0, None) / 2.6) ** 2)) * strength
    skin.colour[part] = _flushed(skin.colour[part], halo)


def _flushed(colour, share):
    """Redder by letting less green and blue through, so that each leg keeps its own tone."""
    return colour * (1 - share[..., None] * FLUSH)


def _new_skin(skin, part, inside, healing: float, random) -> None:
    ragged = inside + 0.6 * fog(random, inside.shape, 3 * skin.view.scale, 2)
    ring = _step((ragged + 2.8) / 1.6) * healing
    rim = np.exp(-(((ragged + 2.4) / 0.45) ** 2)) * healing
    skin.colour[part] = mix(skin.colour[part], NEW_SKIN, 0.6 * ring)
    skin.colour[part] = mix(skin.colour[part], (238, 220, 196), 0.3 * rim)  # old skin, flaking
    skin.relief[part] += 0.10 * rim - 0.12 * ring
    skin.grain[part] *= 1 - 0.85 * ring
    skin.gloss[part] += 0.25 * ring


def _cover(skin, part, inside, radius: float, scab: str, random) -> None:
    """What fills the outline: a crust, or raw skin where there is none."""
    scale = skin.view.scale
    covered = _step(inside * scale + 0.5)
    depth = np.clip(inside / max(radius, 0.5), 0, 1)
    coarse, fine = (fog(random, inside.shape, size * scale) for size in (2.6, 0.7))
    cracks = np.exp(-((coarse / 0.07) ** 2))
    colour = np.float32(SCABS[scab]) * (1 + 0.16 * coarse + 0.10 * fine)[..., None]
    if scab == "none":
        colour = mix(colour, (226, 156, 138), 0.5 * (1 - depth))
        height, gloss, grain = -0.5 * np.sqrt(depth) + 0.06 * fine, 0.75, 0.15
    else:
        colour *= (1 - 0.35 * cracks)[..., None]
        colour = mix(colour, np.float32(SCABS[scab]) * 1.5, 0.35 * np.exp(-inside.clip(0) / 0.4))
        height = 0.8 * depth**0.3 + 0.16 * coarse + 0.10 * fine - 0.22 * cracks
        gloss, grain = 0.22, 0.0
    skin.colour[part] = mix(skin.colour[part], colour, covered)
    skin.relief[part] += (height * covered).astype(np.float32)
    skin.grain[part] *= 1 - covered * (1 - grain)
    skin.gloss[part] += (gloss - skin.gloss[part]) * covered


def _step(field):
    return np.clip(field, 0, 1)
