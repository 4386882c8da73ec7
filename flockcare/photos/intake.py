"""Takes in a photo file: checks it, turns it upright, strips it, makes the sizes the pages show.

Works on horizontal strips of the upright picture, so that one decoded picture, and never a second
full-size copy of it, is in memory. What is kept is always a freshly written JPEG: nothing that the
camera or phone wrote beside the pixels (position, XMP, comments, thumbnails) can come along.
"""

import contextlib
import hashlib
import io
import re
import struct
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import PurePosixPath
from typing import BinaryIO, NamedTuple

import numpy as np
import pillow_heif
from PIL import ExifTags, Image, ImageCms

# Pillow raises KeyError for a format it is restricted to but has not been taught yet.
pillow_heif.register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)

MAX_BYTES = 30 * 1024 * 1024
MAX_PIXELS = 80_000_000
MAX_SIDE = 65_500  # libjpeg writes nothing longer
# What decoding one picture may take, so that a process that takes one in stays below 300 MB.
# An ordinary JPEG of 80 megapixels needs half of it; other kinds are read up to fewer pixels.
MAX_DECODED_BYTES = 225_000_000
SIZES = (1600, 800, 240)
# No lens of a phone or camera for hand use lies outside of these, mm on 35 mm film.
LEAST_FILM_FOCAL, MOST_FILM_FOCAL = 6, 600

# The kept original: quality 92, so that a second compression does not show at the edge of a scab;
# colour at half resolution (4:2:0), because phone cameras deliver no more than that.
_ORIGINAL = {"quality": 92, "subsampling": "4:2:0"}
_SMALLER = {"quality": 85, "subsampling": "4:2:0"}
# How the smaller sizes are reckoned. For hundreds of photos at once in a third of the time, and
# about as sharp as by the bicubic filter (Pillow's handbook, concepts, filters, from memory).
_PLAIN = {"resample": Image.Resampling.LANCZOS, "reducing_gap": 2.0}
_QUICK = {"resample": Image.Resampling.HAMMING, "reducing_gap": 1.0}

# One thread that does nothing else reads all pictures, one after the other. Else memory grows with
# the number of phones that send some at once; and it stays, since glibc keeps what a thread has
# given back for that thread. It costs that pictures do not use a second processor.
_reader = ThreadPoolExecutor(1, "photo")
# Above this a JPEG is decoded as one full-size plane of lightness and two half-size planes of
# colour: 1.5 bytes for each pixel in place of Pillow's 4, at the price of decoding twice.
_LARGE_PIXELS = 25_000_000
_STRIP_ROWS = 64  # a multiple of the 16 rows that one row of 4:2:0 blocks covers

_FORMATS = {"JPEG": ("JPEG", "MPO"), "PNG": ("PNG",), "WebP": ("WEBP",), "HEIC": ("HEIF",)}
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_VIDEO_BRANDS = {b"qt  ", b"isom", b"mp41", b"mp42", b"M4V ", b"3gp4", b"3gp5"}
_OTHER_FILES = {b"GIF8": "GIF", b"%PDF": "PDF", b"II*\0": "TIFF", b"MM\0*": "TIFF", b"BM": "BMP"}

# Exif 2.2 (JEITA CP-3451), tag 274: 6 = "the 0th row is the visual right-hand side of the image,
# and the 0th column is the visual top", and so on.
_TURNS = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


class RefusedPhoto(Exception):
    """The file cannot be taken in; `reason` is a sentence for the keeper who sent it."""

    def __init__(self, reason: str):
        super().__init__(reason)
        self.reason = reason


class Taken(NamedTuple):
    """When the picture was taken by the camera's own clock, and that clock's offset from UTC."""

    local: datetime
    offset: timedelta | None


@dataclass(frozen=True)
class TakenIn:
    """A photo ready to be kept.

    original         upright JPEG at full size, sRGB, without metadata
    sizes            wanted long side -> JPEG; never enlarged, so it may be shorter than wanted
    width, height    of the upright original, in pixels
    taken            date from EXIF, or None
    sha256           hex digest of the file as it was sent
    perceptual_hash  see difference_hash; too large for a signed 64-bit database column
    format           what was sent: "JPEG", "PNG", "WebP" or "HEIC"
    film_focal       focal length of its lens on 35 mm film, from EXIF, in mm, or None
    """

    original: bytes
    sizes: dict[int, bytes]
    width: int
    height: int
    taken: Taken | None
    sha256: str
    perceptual_hash: int
    format: str
    film_focal: int | None = None


def take_in(stream: BinaryIO, name: str, *, original: bytes | None = None) -> TakenIn:
    """Read one photo from a seekable binary file; `name` serves in messages only.

    A name with the wrong ending is no reason to refuse: nothing is stored or served under it.
    `original`: what the file holds, where that is an upright JPEG without metadata which may be
    kept as it is. It is decoded whole all the same, but not written anew.
    Waits while others are read. Raises RefusedPhoto.
    """
    return _reader.submit(_take_in, stream, name, original).result()


def _take_in(stream: BinaryIO, name: str, original: bytes | None = None) -> TakenIn:
    shown = _shown(name)
    sha256 = _digest(stream, shown)
    file_format = _recognise(stream, shown)
    with _said_plainly(shown):
        image = _open(stream, file_format)
        _check_pixels(image, file_format, shown)
        upright, taken, film_focal = _read(image, stream, original)
    written, preview = _write_original(upright, original)
    width, height = upright.width, upright.height
    # What other colours than ours were kept in is not shown as it is.
    itself = original if upright.as_decoded() else None
    del image, upright  # the decoded pixels
    how = _PLAIN if original is None else _QUICK
    sizes, smallest = _write_sizes(preview, width, height, how, itself)
    return TakenIn(
        original=written,
        sizes=sizes,
        width=width,
        height=height,
        taken=taken,
        sha256=sha256,
        perceptual_hash=difference_hash(smallest),
        format=file_format,
        film_focal=film_focal,
    )


def difference_hash(image: Image.Image) -> int:
    """64 bits, one for each pair of neighbours in 8 rows of 9 grey cells: is the right one lighter?

    Common practice, no published source. The number of bits in which two pictures differ, out of
    64, is small for the same picture at another size or compression.
    """
    cells = image.convert("L").resize((9, 8), Image.Resampling.BOX).tobytes()
    bits = 0
    for row in range(8):
        for column in range(8):
            at = row * 9 + column
            bits = bits << 1 | (cells[at] < cells[at + 1])
    return bits


def _shown(name: str) -> str:
    bare = PurePosixPath(name.replace("\\", "/")).name
    printable = "".join(letter for letter in bare if letter.isprintable())[:80]
    return f"“{printable}”" if printable else "This file"


# --- What kind of file is it


def _digest(stream: BinaryIO, shown: str) -> str:
    stream.seek(0)
    digest, length = hashlib.sha256(), 0
    while chunk := stream.read(1024 * 1024):
        length += len(chunk)
        if length > MAX_BYTES:
            raise RefusedPhoto(f"{shown} is larger than 30 MB. Send it in a smaller size.")
        digest.update(chunk)
    if not length:
        raise RefusedPhoto(f"{shown} is empty. Send the photo again.")
    return digest.hexdigest()


def _recognise(stream: BinaryIO, shown: str) -> str:
    stream.seek(0)
    start = stream.read(12)
    brand = start[8:12] if start[4:8] == b"ftyp" else b""
    if start.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if start.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if start.startswith(b"RIFF") and start[8:12] == b"WEBP":
        return "WebP"
    if brand in _HEIC_BRANDS:
        return "HEIC"
    if brand in _VIDEO_BRANDS:
        raise RefusedPhoto(f"{shown} is a video. Send a photo (JPEG, PNG, WebP or HEIC).")
    for beginning, kind in _OTHER_FILES.items():
        if start.startswith(beginning):
            raise RefusedPhoto(f"{shown} is a {kind} file. Send it as JPEG, PNG, WebP or HEIC.")
    raise RefusedPhoto(f"{shown} is not a picture we can read (JPEG, PNG, WebP or HEIC).")


@contextlib.contextmanager
def _said_plainly(shown: str) -> Iterator[None]:
    """Turn whatever a decoder raises on a bad file into words."""
    try:
        yield
    except (RefusedPhoto, MemoryError):
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels(shown) from error
    # Decoders raise nearly anything on hostile input: OSError, ValueError, SyntaxError, zlib.error…
    except Exception as error:
        if "truncated" in str(error) or isinstance(error, EOFError):
            problem = "is damaged: it stops in the middle"
        else:
            problem = "is damaged and cannot be opened"
        raise RefusedPhoto(f"{shown} {problem}. Send it again from where it was taken.") from error


# --- Reading


class _Whole:
    """A picture decoded in one piece."""

    def __init__(self, image: Image.Image):
        image.load()
        self.image, self.size, self.mode = image, image.size, image.mode

    def crop(self, box: tuple[int, int, int, int]) -> Image.Image:
        return self.image.crop(box)


class _Block:
    """A HEIC as its decoder leaves it: one block of bytes, without Pillow's copy of it."""

    def __init__(self, stream: BinaryIO):
        stream.seek(0)
        decoded = pillow_heif.open_heif(stream)
        data, self.size, self.mode = decoded.data, decoded.size, decoded.mode
        self.decoded = decoded  # owns the bytes
        rows = np.frombuffer(data, np.uint8).reshape(-1, decoded.stride)
        shape = self.size[1], self.size[0], len(self.mode)
        self.pixels = rows[: shape[0], : shape[1] * shape[2]].reshape(shape)

    def crop(self, box: tuple[int, int, int, int]) -> Image.Image:
        left, top, right, bottom = box
        part = np.ascontiguousarray(self.pixels[top:bottom, left:right])
        return Image.frombytes(self.mode, (right - left, bottom - top), part.tobytes())


class _Planes:
    """A JPEG decoded as lightness at full size and colour at half size."""

    mode = "YCbCr"

    def __init__(self, image: Image.Image, stream: BinaryIO):
        self.size = image.size
        with _open(stream, "JPEG") as half:
            half.draft("YCbCr", (image.width // 2, image.height // 2))
            self.colour = half.getchannel("Cb"), half.getchannel("Cr")
        image.draft("L", None)
        image.load()
        self.lightness = image

    def crop(self, box: tuple[int, int, int, int]) -> Image.Image:
        left, top, right, bottom = box
        outer = left // 2, top // 2, -(-right // 2), -(-bottom // 2)
        inner = left % 2, top % 2, left % 2 + right - left, top % 2 + bottom - top
        full_size = 2 * (outer[2] - outer[0]), 2 * (outer[3] - outer[1])
        colour = [
            plane.crop(outer).resize(full_size, Image.Resampling.NEAREST).crop(inner)
            for plane in self.colour
        ]
        return Image.merge("YCbCr", [self.lightness.crop(box), *colour])


class _Upright:
    """The picture as it is to be seen, in strips of RGB or YCbCr."""

    def __init__(self, pixels: _Whole | _Block | _Planes, orientation: int, to_srgb: Callable):
        self.pixels, self.to_srgb = pixels, to_srgb
        self.orientation = orientation if orientation in _TURNS else 1
        width, height = pixels.size
        self.width, self.height = (width, height) if self.orientation <= 4 else (height, width)

    def as_decoded(self) -> Image.Image | None:
        """The picture in one piece, where it lies in memory just as it is to be seen."""
        is_so = isinstance(self.pixels, _Whole) and self.pixels.mode in ("RGB", "YCbCr")
        return self.pixels.image if is_so and self.orientation == 1 else None

    def strips(self) -> Iterator[Image.Image]:
        turn = _TURNS[self.orientation]
        for top in range(0, self.height, _STRIP_ROWS):
            strip = self.pixels.crop(self._box(top, min(top + _STRIP_ROWS, self.height)))
            strip = self.to_srgb(strip)
            yield strip if turn is None else strip.transpose(turn)

    def _box(self, top: int, bottom: int) -> tuple[int, int, int, int]:
        """Where the rows `top` to `bottom` of the upright picture lie in the stored one."""
        width, height = self.pixels.size
        if self.orientation <= 2:  # the stored 0th row is at the top
            return 0, top, width, bottom
        if self.orientation <= 4:  # … at the bottom
            return 0, height - bottom, width, height - top
        if self.orientation <= 6:  # the stored 0th column is at the top
            return top, 0, bottom, height
        return width - bottom, 0, width - top, height


def _open(stream: BinaryIO, file_format: str) -> Image.Image:
    stream.seek(0)
    return Image.open(stream, formats=_FORMATS[file_format])


def _read(
    image: Image.Image, stream: BinaryIO, kept: bytes | None
) -> tuple[_Upright, Taken | None, int | None]:
    pixels = _decode(image, stream, kept)
    orientation, taken, film_focal = _camera_notes(image)
    to_srgb = _srgb_reader(image, pixels.mode)
    # Pillow hands `info` on to every strip, and writes a comment found in it into new files.
    image.info = {key: value for key, value in image.info.items() if key == "transparency"}
    return _Upright(pixels, orientation, to_srgb), taken, film_focal


def _check_pixels(image: Image.Image, file_format: str, shown: str) -> None:
    # The further pictures in a phone's JPEG or HEIC (depth, burst) are never decoded.
    frames = getattr(image, "n_frames", 1) if file_format in ("PNG", "WebP") else 1
    pixels = image.width * image.height * frames
    if pixels > MAX_PIXELS:
        raise _too_many_pixels(shown)
    kind, each = _decoding(image, file_format)
    most = int(MAX_DECODED_BYTES / each)
    if pixels > most:
        raise RefusedPhoto(
            f"{shown} has {pixels / 1e6:.0f} megapixels (width × height), but a {kind} is read "
            f"up to {most // 1_000_000}. Send it in a smaller size, or as an ordinary JPEG."
        )
    if max(image.size) > MAX_SIDE:
        raise RefusedPhoto(f"{shown} is longer than {MAX_SIDE:,} pixels. Crop it first.")


def _decoding(image: Image.Image, file_format: str) -> tuple[str, float]:
    """What this kind of picture is called, and the bytes for each pixel while it is decoded.

    As measured, and by what the decoders do: Pillow keeps all colour at 4 bytes; its WebP decoder
    has that four times over; libheif holds planes and RGB at once; libjpeg holds a little
    over two bytes for each coefficient of a progressive JPEG until the last is there.
    """
    if file_format == "WebP":
        return "WebP", 16.0
    if file_format == "HEIC":
        return "HEIC", 4.5 if image.info.get("bit_depth", 8) <= 8 else 9.0
    stored = {"1": 1.0, "L": 1.0, "P": 1.0, "I;16": 2.0}.get(image.mode, 4.0)
    if file_format == "PNG":
        return "PNG", stored
    if _stored_as_ycbcr(image) and _is_large(image):
        stored = 1.5
    if not image.info.get("progressive"):
        return "JPEG of this kind", stored
    most = max(across * down for _, across, down, _ in image.layer)
    return "progressive JPEG", stored + sum(2.2 * a * d / most for _, a, d, _ in image.layer)


def _too_many_pixels(shown: str) -> RefusedPhoto:
    return RefusedPhoto(
        f"{shown} is larger than 80 megapixels (width × height). Send it in a smaller size."
    )


def _is_large(image: Image.Image) -> bool:
    return image.width * image.height > _LARGE_PIXELS


def _decode(image: Image.Image, stream: BinaryIO, kept: bytes | None) -> _Whole | _Block | _Planes:
    if image.format == "HEIF" and image.mode in ("L", "RGB", "RGBA"):
        return _Block(stream)
    if not _stored_as_ycbcr(image):
        return _Whole(image)
    if _is_large(image):
        return _Planes(image, stream)
    if kept is None:
        image.draft("YCbCr", None)  # spares turning it to RGB and back, where all of it is written
    return _Whole(image)


def _stored_as_ycbcr(image: Image.Image) -> bool:
    """Whether libjpeg takes a JPEG's three components for YCbCr: its rule, from memory."""
    if image.format not in _FORMATS["JPEG"] or image.mode != "RGB":
        return False
    named_rgb = tuple(component[0] for component in image.layer) == tuple(b"RGB")
    return "jfif" in image.info or image.info.get("adobe_transform", int(not named_rgb)) != 0


def _camera_notes(image: Image.Image) -> tuple[int, Taken | None, int | None]:
    try:
        exif = image.getexif()
        try:
            details = exif.get_ifd(ExifTags.IFD.Exif)
        except Exception:
            details = {}
        orientation = exif.get(ExifTags.Base.Orientation, 1)
        return orientation, _taken(exif, details), _film_focal(details)
    except Exception:  # broken notes are no reason to lose the picture
        return 1, None, None


def _film_focal(details: dict) -> int | None:
    """Exif 2.2 (JEITA CP-3451), tag 41989 FocalLengthIn35mmFilm: mm, 0 when unknown."""
    said = details.get(ExifTags.Base.FocalLengthIn35mmFilm)
    plain = isinstance(said, int) and LEAST_FILM_FOCAL <= said <= MOST_FILM_FOCAL
    return said if plain else None


def _taken(exif: Image.Exif, details: dict) -> Taken | None:
    """DateTimeOriginal, else DateTime, as "YYYY:MM:DD HH:MM:SS"; blank or zero when unknown.

    Format: Exif 2.2 (JEITA CP-3451), tags 36867 and 306. Offset "±HH:MM": Exif 2.31 (CIPA DC-008),
    tags 36881 and 36880, from memory.
    """
    tags = ExifTags.Base
    original = details.get(tags.DateTimeOriginal), details.get(tags.OffsetTimeOriginal)
    changed = exif.get(tags.DateTime), details.get(tags.OffsetTime)
    for moment, offset in (original, changed):
        with contextlib.suppress(ValueError):
            clean = str(moment).strip("\0 ")
            local = datetime.strptime(clean, "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
            return Taken(local, _offset(str(offset)))
    return None


def _offset(text: str) -> timedelta | None:
    match = re.fullmatch(r"([+-])(\d\d):([0-5]\d)", text.strip("\0 "))
    if not match or int(match[2]) > 14:
        return None
    ahead = timedelta(hours=int(match[2]), minutes=int(match[3]))
    return ahead if match[1] == "+" else -ahead


# --- Colour


def _srgb_reader(image: Image.Image, mode: str) -> Callable[[Image.Image], Image.Image]:
    """What turns a piece of this picture, in `mode`, into opaque sRGB (as RGB or YCbCr)."""
    convert = _opaque_reader(image, mode)
    transform = _profile_transform(image.info.get("icc_profile"), mode)
    if transform is None:
        return convert

    def read(piece: Image.Image) -> Image.Image:
        kept = mode in ("L", "CMYK")
        return transform.apply(piece if kept else convert(piece).convert("RGB"))

    return read


def _opaque_reader(image: Image.Image, mode: str) -> Callable[[Image.Image], Image.Image]:
    if image.has_transparency_data:
        return _on_white
    if mode.startswith("I"):  # 16-bit grey, which convert() alone would cut off at 255
        return lambda piece: piece.point(lambda value: value / 256).convert("L").convert("RGB")
    if mode == "YCbCr":
        return lambda piece: piece
    return lambda piece: piece.convert("RGB")


def _on_white(piece: Image.Image) -> Image.Image:
    piece = piece.convert("RGBA")
    white = Image.new("RGBA", piece.size, "white")
    return Image.alpha_composite(white, piece).convert("RGB")


def _profile_transform(profile: bytes | None, mode: str) -> ImageCms.ImageCmsTransform | None:
    if not profile:
        return None
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if "sRGB" in ImageCms.getProfileDescription(source):
            return None
        target = ImageCms.createProfile("sRGB")
        mode = mode if mode in ("L", "CMYK") else "RGB"
        return ImageCms.buildTransform(source, target, mode, "RGB")
    except (ImageCms.PyCMSError, OSError):
        return None  # a broken profile: the colours as they are


# --- Writing


def _write_original(upright: _Upright, kept: bytes | None) -> tuple[bytes, Image.Image]:
    """The upright JPEG, and a copy reduced by a power of two from which to make the sizes.

    What is ``kept`` is not written anew: it has no metadata, and so no turn and no colour profile.

    Each strip is encoded by itself and becomes one restart interval of the whole. "Set the DC
    prediction to zero" and fill the last byte with 1-bits: beginning and ending a JPEG of its own
    does just that (ITU-T T.81, B.2.1 and E.1.4).
    """
    long_side = max(upright.width, upright.height)
    factor = next(f for f in (32, 16, 8, 4, 2, 1) if long_side >= f * SIZES[0] or f == 1)
    if kept is not None and (decoded := upright.as_decoded()):
        return kept, decoded if factor == 1 else decoded.reduce(factor)
    whole, preview = io.BytesIO(), None
    for number, strip in enumerate(upright.strips()):
        if preview is None:
            size = -(-upright.width // factor), -(-upright.height // factor)
            preview = Image.new(strip.mode, size)
        preview.paste(strip.reduce(factor), (0, number * _STRIP_ROWS // factor))
        if kept is not None:
            continue
        encoded = _jpeg(strip, _ORIGINAL)
        segments = _segments(encoded)
        if number:
            whole.write(bytes([0xFF, 0xD0 + (number - 1) % 8]))  # RST0 … RST7, over and over
        else:
            whole.write(_header(encoded, segments, upright.width, upright.height))
        whole.write(encoded[segments[-1].end : -2])
    whole.write(b"\xff\xd9")
    return whole.getvalue() if kept is None else kept, preview


def _write_sizes(
    preview: Image.Image, width: int, height: int, how: dict, itself: bytes | None
) -> tuple[dict[int, bytes], Image.Image]:
    """Each size made from the one above it; the smallest picture comes back as well.

    ``itself``: the whole picture, where it may be the size that it does not exceed.
    """
    sizes = {}
    for side in SIZES:
        scale = min(1, side / max(width, height))
        target = max(1, round(width * scale)), max(1, round(height * scale))
        if itself and target == (width, height):
            sizes[side] = itself
            continue
        if preview.size != target:
            preview = preview.resize(target, **how)
        sizes[side] = _jpeg(preview, _SMALLER)
    return sizes, preview


def _jpeg(image: Image.Image, settings: dict) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", **settings)
    return out.getvalue()


class _Segment(NamedTuple):
    marker: int
    start: int
    end: int


def _segments(jpeg: bytes) -> list[_Segment]:
    """The marker segments of a JPEG of ours, up to and with the one that begins its scan."""
    found, at = [], 2
    while not found or found[-1].marker != 0xDA:
        end = at + 2 + struct.unpack_from(">H", jpeg, at + 2)[0]
        found.append(_Segment(jpeg[at + 1], at, end))
        at = end
    return found


def _header(strip: bytes, segments: list[_Segment], width: int, height: int) -> bytes:
    """Everything before the first scan data, for a picture of many strips (ITU-T T.81, B.2)."""
    frame = next(segment for segment in segments if segment.marker == 0xC0)
    scan = segments[-1]
    blocks_per_strip = _STRIP_ROWS // 16 * -(-width // 16)
    whole_height = struct.pack(">H", height)
    restart = struct.pack(">HHH", 0xFFDD, 4, blocks_per_strip)
    upto_height, after_height = strip[: frame.start + 5], strip[frame.start + 7 : scan.start]
    return upto_height + whole_height + after_height + restart + strip[scan.start : scan.end]
