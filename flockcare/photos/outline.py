"""Suggest the outline of a sore from one tap in it, for the keeper to correct by hand.

Around the tap, the picture is split by how much each point's colour differs from the tapped one.
Of the regions that grow from the tap as more difference is allowed, the one with the clearest
edge is taken. Each point near its rim then goes to the side whose colour, near there, it is more
like (after Lankton, Tannenbaum 2008, IEEE Trans Image Process 17:2029–2039, from memory).
Points are pixels of the picture given, x right, y down.
"""

from dataclasses import dataclass

import cv2
import numpy as np

WORK_PX = 360  # side of the square that is looked at
REACH = 0.35  # half of that square, as a share of the picture's shorter side
# What L* counts beside a* and b*: light and shade on a foot change it far more than they do those.
LIGHTNESS = 0.4
LEAST_CONTRAST = 5.0  # difference in colour across the edge, CIE L*a*b* units
NEARLY, CLEAR_TOO = 0.8, 0.5  # shares of the best clearness
LEAST_PX = 12  # across, in the picture itself: one more all round is a third more
SURE_PX = 20  # across: one more all round is a fifth more
MOST_POINTS = 60
RIM = 0.12  # as far from the edge of a region its true edge is sought, of the region's side
SEEDS = 5  # other places that it is grown from
# Chosen on painted photos (tests/studies/suggested_areas.py): beyond these most outlines are off.
MOST_SPREAD = 0.15
LEAST_FILLED = 0.9  # of the hull
LEAST_COMPACT = 0.6
MOST_WEAK = 0.1  # of the rim
FAINT_GIVE = 0.3  # error of the area times the difference in colour across the edge
USELESS_SPREAD = 0.5
CUT_OFF = 250  # of 255
MOST_BURNT = 0.25  # of a region
MOST_LARGER = 3.0  # the area of another edge round the tap, nearly as clear

OUTSIDE = "You tapped outside the photo."
UNCLEAR = (
    "No clear edge was found where you tapped, as often with a sore of 2 mm or less. Tap the "
    "middle of the scab again, or choose Draw and go round it."
)
TOO_LARGE = (
    "What you tapped runs on into the skin around it, or off the photo. Choose Draw and go round "
    "the sore."
)
DOUBTFUL = (
    "Check this edge all round, and move the points that are off: the sore is small in the photo, "
    "or part of its edge is faint or ragged."
)
SHINES = (
    "The place you tapped is so bright that its colours are lost: a reflection, a flash or the "
    "sun. Tap beside it, take the photo in softer light, or choose Draw and go round the sore."
)
TOO_SMALL = (
    "The sore is so small in this photo that an edge one dot off would make it a third larger. "
    "If this is a smaller copy, add the original photo; else choose Draw and go round the sore."
)


class NoOutline(Exception):
    """Nothing plausible grows from the tap. ``reason``: why, in words for a keeper."""

    def __init__(self, reason):
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True)
class Suggestion:
    """An outline to be looked at, (n, 2) pixels, and how far it can be trusted.

    spread  95 % bound of the relative error of its area, as a fraction: by where it was tapped, by
            the bays in it, which may belong to it, and by how faint its edge is
    doubt   why its edge should be looked at, in words for a keeper; else empty
    """

    outline: np.ndarray
    spread: float
    doubt: str


def suggest_outline(image, tap_xy, reach_px=None, within_px=None, most_points=MOST_POINTS):
    """The Suggestion for the evenly coloured thing tapped in a PIL image of any mode.

    tap_xy: one point inside it, pixels. reach_px: the farthest the outline can be from the tap,
    else a third of the picture's shorter side. within_px: corners, (n, 2) pixels, of the card's
    window, whose edge, the clearest of all, is not meant; a tap outside it leaves it out of
    account. most_points: upper limit of n.
    Raises NoOutline.
    """
    x, y = tap_xy
    if not (0 <= x < image.width and 0 <= y < image.height):
        raise NoOutline(OUTSIDE)
    reach = reach_px or REACH * min(image.size)
    within = _holding(within_px, (x, y))
    view, grown = _first_region(image, (x, y), reach, within)
    larger = grown.larger
    for _ in range(2):
        across = view.across(grown.region)
        closer = max(2.0 * across, 3.0 * LEAST_PX)
        if closer > 0.7 * view.reach:
            break
        try:
            nearer, finer = _look(image, (x, y), closer, within)
        except NoOutline:
            break  # what was seen from farther away will do
        if nearer.across(finer.region) < 0.7 * across:
            larger = max(larger, (across / nearer.across(finer.region)) ** 2)
            break  # something else, inside it
        view, grown = nearer, finer
        larger = max(larger, grown.larger)
    regions = [grown.region, *_from_elsewhere(view, grown.region)]
    best = _most_like_the_others(regions)
    edge = _to_the_edge(view, best)
    if _burnt(view, edge) > MOST_BURNT:
        raise NoOutline(SHINES)
    if view.across(edge) < LEAST_PX:
        raise NoOutline(TOO_SMALL)
    by_place = _spread(regions, best)
    if by_place > USELESS_SPREAD:
        raise NoOutline(UNCLEAR)
    faint = FAINT_GIVE / max(_contrast(edge, view.lab), LEAST_CONTRAST)
    spread = float(np.linalg.norm([by_place, 1 / _filled(edge) - 1, faint]))
    outline = simplify(view.to_image(_edge(edge)), most_points)
    small = view.across(edge) < SURE_PX
    uncertain = small or spread > MOST_SPREAD or larger > MOST_LARGER
    doubt = DOUBTFUL if uncertain or _is_ragged(edge, view.lab) else ""
    return Suggestion(outline, spread, doubt)


def _from_elsewhere(view, region):
    """What grows from other places in a region: five round the middle of its widest part."""
    column, row = _middle(region)
    depth = cv2.distanceTransform(region, cv2.DIST_L2, 5)[row, column]
    for angle in np.arange(SEEDS) * 2 * np.pi / SEEDS:
        right, down = 0.5 * depth * np.array([np.cos(angle), np.sin(angle)])
        place = round(column + right), round(row + down)
        try:
            yield view.grown_from(place).region
        except NoOutline:
            continue


def _overlap(one, other):
    """Area in both over area in either."""
    return (one & other).sum() / max((one | other).sum(), 1)


def _most_like_the_others(regions):
    alike = [sum(_overlap(region, other) for other in regions) for region in regions]
    return regions[int(np.argmax(alike))]


def _spread(regions, best):
    """How far the areas lie from that of the best one, the oddest region left out."""
    off = sorted(abs(region.sum() / best.sum() - 1) for region in regions)
    return float(off[-2]) if len(off) > SEEDS // 2 else 1.0


def _filled(region):
    """How much of its convex hull a region fills."""
    contours, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    areas = [cv2.contourArea(each) for each in (contours[0], cv2.convexHull(contours[0]))]
    return max(areas[0], 1) / max(areas[1], 1)


def _is_ragged(region, lab):
    ragged = _filled(region) < LEAST_FILLED or _compactness(region) < LEAST_COMPACT
    return ragged or _weak_share(region, lab) > MOST_WEAK


def _burnt(view, region):
    """How much of a region is so bright that a colour of it is cut off."""
    return float(np.mean(view.rgb.max(axis=2)[region > 0] >= CUT_OFF))


def _holding(corners, tap):
    """The corners as OpenCV takes them if they go round the tap, else None."""
    if corners is None:
        return None
    corners = np.asarray(corners, np.float32).reshape(-1, 1, 2)
    return corners if cv2.pointPolygonTest(corners, tap, False) > 0 else None


def _first_region(image, tap, reach, within):
    """What grows from the tap as seen from afar, else from nearer and nearer."""
    refusal = None
    for closer in (1, 3, 9):
        if reach / closer < 2 * LEAST_PX and closer > 1:
            break
        try:
            return _look(image, tap, reach / closer, within)
        except NoOutline as reason:
            refusal = refusal or reason
    raise refusal


def simplify(outline, most_points=MOST_POINTS):
    """The same outline with at most this many points (three or more), (n, 2).

    Leaves out points (Douglas and Peucker 1973, Cartographica 10:112–122, from memory) with the
    smallest tolerance that reaches the limit.
    """
    points = np.asarray(outline, dtype=np.float32).reshape(-1, 2)
    if most_points < 3:
        raise ValueError("An outline has at least three points.")
    low, high = 0.0, float(np.linalg.norm(np.ptp(points, axis=0))) if len(points) else 0.0
    best = points
    for _ in range(40 if len(points) > most_points else 0):
        tolerance = (low + high) / 2
        fewer = cv2.approxPolyDP(points.reshape(-1, 1, 2), tolerance, True).reshape(-1, 2)
        if len(fewer) > most_points:
            low = tolerance
        else:
            high = tolerance
            if len(fewer) >= 3:
                best = fewer
    return best.astype(float)


class _View:
    """A square part of the picture round the tap, brought to a handy size.

    rgb: uint8; lab: the same, smoothed, CIE L*a*b* with
    L* times LIGHTNESS; tap: (column, row); reach: half the side in
    picture pixels; factor: its pixels per picture pixel; shut: see ``_outside``.
    """

    def __init__(self, image, tap, reach, within):
        left, top = (max(0, int(v - reach)) for v in tap)
        right = min(image.width, int(tap[0] + reach) + 1)
        bottom = min(image.height, int(tap[1] + reach) + 1)
        part = np.asarray(image.crop((left, top, right, bottom)).convert("RGB"))
        self.reach = reach
        self.factor = WORK_PX / (2 * reach)
        how = cv2.INTER_AREA if self.factor < 1 else cv2.INTER_CUBIC
        self.rgb = cv2.resize(part, None, fx=self.factor, fy=self.factor, interpolation=how)
        self.start = np.array([left, top])
        height, width = self.rgb.shape[:2]
        column, row = ((np.array(tap) - self.start + 0.5) * self.factor).astype(int)
        self.tap = min(column, width - 1), min(row, height - 1)
        self.shut = self._outside(within)
        smooth = cv2.medianBlur(self.rgb, 5)
        lab = cv2.cvtColor(smooth.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
        lab = cv2.bilateralFilter(lab, 9, 12.0, 4.0)
        self.lab = lab * np.float32((LIGHTNESS, 1, 1))

    def across(self, region):
        """Side of the square as large as a mask, in picture pixels."""
        return np.sqrt(region.sum()) / self.factor

    def grown_from(self, place):
        """What grows from a place (column, row). Raises NoOutline."""
        seed = _disc(self.lab, place, 6)
        off = np.linalg.norm((self.lab - np.median(seed, axis=0)), axis=2)
        return _clearest(off, self.lab, place, self.shut)

    def _outside(self, corners):
        """1 where the view, and so what is looked for, ends: its border, and beyond the corners."""
        shut = np.zeros(self.rgb.shape[:2], np.uint8)
        if corners is not None:
            inside = np.zeros_like(shut)
            seen = (corners.reshape(-1, 2) - self.start + 0.5) * self.factor - 0.5
            cv2.fillPoly(inside, [np.rint(seen).astype(np.int32)], 1)
            shut = 1 - inside
        shut[[0, -1]] = 1
        shut[:, [0, -1]] = 1
        return shut

    def to_image(self, points):
        return (points + 0.5) / self.factor - 0.5 + self.start


def _look(image, tap, reach, within=None):
    """The view of that reach and what grows from the tap in it."""
    view = _View(image, tap, reach, within)
    return view, view.grown_from(view.tap)


def _disc(field, centre, radius):
    """What lies round a place (column, row) of a field, (n, …)."""
    column, row = centre
    left, top = max(0, column - radius), max(0, row - radius)
    part = field[top : row + radius + 1, left : column + radius + 1]
    y, x = np.ogrid[top : top + part.shape[0], left : left + part.shape[1]]
    return part[(x - column) ** 2 + (y - row) ** 2 <= radius**2]


@dataclass(frozen=True)
class _Grown:
    """A mask, and how many times as large the largest other one is that has a clear edge too."""

    region: np.ndarray
    larger: float


def _clearest(off, lab, tap, shut):
    """The region round the tap with the clearest edge; of several nearly as clear, the smallest.

    A scab often has a horny rim with an edge of its own, which is not meant.
    """
    regions, reason = [], UNCLEAR
    for limit in np.geomspace(2.5, 70.0, 36):
        region = _connected(off <= limit, tap)
        if region is None:
            continue
        if _on_border(region, shut) > 0.1:
            reason = TOO_LARGE
            break
        regions.append((_contrast(region, lab) * np.sqrt(_compactness(region)), region))
    if not regions:
        raise NoOutline(reason)
    clearest = max(clearness for clearness, _ in regions)
    if clearest < LEAST_CONTRAST:
        raise NoOutline(UNCLEAR)
    least = next(region for clearness, region in regions if clearness >= NEARLY * clearest)
    clear = [region for clearness, region in regions if clearness >= CLEAR_TOO * clearest]
    return _Grown(least, float(clear[-1].sum() / least.sum()))


def _connected(mask, tap, opening=5):
    """The part of a mask that hangs together round the tap, holes filled, or None."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (opening, opening))
    mask = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    count, labels = cv2.connectedComponents(mask)
    here = _disc(labels, tap, 4)
    here = here[here > 0]
    if count < 2 or not len(here):
        return None
    region = (labels == np.bincount(here).argmax()).astype(np.uint8)
    contours, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return cv2.drawContours(region, contours, -1, 1, cv2.FILLED)


def _on_border(region, shut):
    """How much of a region lies where the view ends, in parts of the length of its rim."""
    return (region & shut).sum() / max(_rim(region).sum(), 1)


def _rim(region):
    return region - cv2.erode(region, np.ones((3, 3), np.uint8))


def _contrast(region, lab):
    """Difference in colour between both sides of the rim, where it is least clear.

    The lower quartile: part of the rim may be hidden or soft, but where much of it runs through
    the middle of something, it is no edge.
    """
    along = _contrasts(region, lab)
    return float(np.percentile(along, 25)) if len(along) else 0.0


def _weak_share(region, lab):
    """How much of the rim is less than half as clear as its clearer part."""
    along = _contrasts(region, lab)
    return float(np.mean(along < 0.5 * np.percentile(along, 75))) if len(along) else 1.0


def _contrasts(region, lab):
    """Difference in colour between both sides of the rim all along it; empty for a tiny region."""
    contours, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = contours[0].reshape(-1, 2).astype(np.float32)
    if len(points) < 12:
        return np.empty(0)
    ahead, behind = np.roll(points, -4, axis=0), np.roll(points, 4, axis=0)
    along = ahead - behind
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-6)
    if cv2.contourArea(points, oriented=True) < 0:
        outward = -outward
    sides = []
    for step in (-3.5, 3.5):
        x, y = (points + step * outward).T.astype(np.float32)
        sides.append(cv2.remap(lab, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    return np.linalg.norm(sides[0] - sides[1], axis=-1).ravel()


def _compactness(region):
    """1 for a disc, towards 0 the more ragged."""
    contours, _ = cv2.findContours(region, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = cv2.convexHull(contours[0])
    around = max(cv2.arcLength(contours[0], True), cv2.arcLength(hull, True), 1e-6)
    return min(1.0, 4 * np.pi * cv2.contourArea(contours[0]) / around**2)


def _to_the_edge(view, region):
    """A region with its edge half way between the colours on both sides of it."""
    for _ in range(2):
        radius = max(3, round(RIM * np.sqrt(region.sum())))
        wide, core = cv2.dilate(region, _ellipse(radius)), cv2.erode(region, _ellipse(radius))
        inside = _colour_nearby(view.lab, core, radius)
        outside = _colour_nearby(view.lab, (1 - wide) & (1 - view.shut), radius)
        if inside is None or outside is None:
            break
        step = inside - outside
        share = ((view.lab - outside) * step).sum(axis=2) / np.maximum((step**2).sum(axis=2), 1e-6)
        share = cv2.GaussianBlur(np.clip(share, -0.5, 1.5), (0, 0), 1.5)
        near_rim = (wide > 0) & (view.shut == 0)
        cut = _connected((core > 0) | (near_rim & (share > 0.5)), _middle(core))
        if cut is None:
            break
        region = cut
    return region


def _colour_nearby(lab, mask, radius):
    """For each point, the mean colour of what is nearest to it in a mask; None for an empty one."""
    if not mask.any():
        return None
    weight = mask.astype(np.float32)
    total, of = (
        cv2.GaussianBlur(each, (0, 0), 1.5 * radius) for each in (lab * weight[..., None], weight)
    )
    return total / np.maximum(of, 1e-6)[..., None]


def _ellipse(radius):
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))


def _middle(region):
    """A place (column, row) in the widest part of a mask."""
    depth = cv2.distanceTransform(region, cv2.DIST_L2, 5)
    row, column = np.unravel_index(depth.argmax(), depth.shape)
    return int(column), int(row)


def _edge(region):
    """Outline of a region, (n, 2), half way between its outermost points and the next."""
    fine = cv2.resize(region.astype(np.float32), None, fx=4, fy=4, interpolation=cv2.INTER_LINEAR)
    fine = (cv2.GaussianBlur(fine, (0, 0), 4) >= 0.5).astype(np.uint8)
    contours, _ = cv2.findContours(fine, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    points = max(contours, key=cv2.contourArea).reshape(-1, 2)
    return (points + 0.5) / 4 - 0.5
