"""Photo intake against the published formats: Exif, JPEG (ITU-T T.81), PNG, colour spaces."""

import hashlib
import io
import random
import struct
import subprocess
import sys
import threading
import time
import zlib
from datetime import datetime, timedelta

import cv2
import numpy as np
import pytest
from PIL import ExifTags, Image, ImageCms, PngImagePlugin

from flockcare.photos import intake
from flockcare.photos.intake import RefusedPhoto, Taken, difference_hash, take_in

SECRET = "hens-live-here"


def scene(width=330, height=213, seed=1):
    """Soft colours that differ in every corner; odd, and no multiple of a block or a strip."""
    spots = np.random.default_rng(seed).integers(0, 255, (5, 7, 3), dtype=np.uint8)
    return Image.fromarray(spots).resize((width, height), Image.Resampling.BICUBIC)


def encoded(image, file_format="JPEG", **options):
    out = io.BytesIO()
    if file_format == "JPEG":
        options = {"quality": 95, "subsampling": "4:2:0"} | options
    image.save(out, file_format, **options)
    return out.getvalue()


def taken_in(data, name="IMG_0001.jpg"):
    return take_in(io.BytesIO(data), name)


def reason(data, name="IMG_0001.jpg"):
    with pytest.raises(RefusedPhoto) as refusal:
        taken_in(data, name)
    assert refusal.value.reason == str(refusal.value)
    return refusal.value.reason


def pixels(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)


def assert_alike(one, other, mean=2.0):
    assert one.shape == other.shape
    assert np.abs(one - other).mean() < mean


def clock(text):
    return datetime.fromisoformat(text)


def exif_with(tags=(), details=(), position=()):
    exif = Image.Exif()
    exif.update(dict(tags))
    exif.get_ifd(ExifTags.IFD.Exif).update(dict(details))
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(dict(position))
    return exif.tobytes()


# --- What comes out


@pytest.mark.parametrize(
    ("file_format", "shown", "options"),
    [
        ("JPEG", "JPEG", {"quality": 95}),
        ("PNG", "PNG", {}),
        ("WEBP", "WebP", {"quality": 95}),
        ("HEIF", "HEIC", {"quality": 90}),
    ],
)
def test_each_format_becomes_a_jpeg_of_the_same_picture(file_format, shown, options):
    data = encoded(scene(), file_format, **options)
    result = taken_in(data)
    assert (result.width, result.height, result.format) == (330, 213, shown)
    assert Image.open(io.BytesIO(result.original)).format == "JPEG"
    assert_alike(pixels(result.original), np.asarray(scene()).astype(int), mean=3)
    assert result.sha256 == hashlib.sha256(data).hexdigest()
    assert result.taken is None


def test_sizes_are_made_at_once_and_never_enlarged():
    large = taken_in(encoded(scene(3000, 2000)))
    made = {side: Image.open(io.BytesIO(data)).size for side, data in large.sizes.items()}
    assert made == {1600: (1600, 1067), 800: (800, 533), 240: (240, 160)}
    small = taken_in(encoded(scene(330, 213)))
    made = {side: Image.open(io.BytesIO(data)).size for side, data in small.sizes.items()}
    assert made == {1600: (330, 213), 800: (330, 213), 240: (240, 155)}


@pytest.mark.parametrize("side", [1600, 800, 240])
def test_a_size_shows_what_a_plain_reduction_shows(side):
    picture = scene(3300, 2200)
    result = taken_in(encoded(picture, "PNG"))
    plain = picture.copy()
    plain.thumbnail((side, side))
    assert_alike(pixels(result.sizes[side]), np.asarray(plain).astype(int))


@pytest.mark.parametrize("size", [(1, 1), (15, 64), (16, 65), (330, 213), (2000, 130)])
def test_strips_join_to_the_jpeg_that_is_written_in_one_piece(size):
    """Two decoders read the joined file; the outside is Pillow's own writing of the whole."""
    picture = scene(*size)
    joined = taken_in(encoded(picture, "PNG")).original
    whole = encoded(picture, quality=92, subsampling="4:2:0")
    assert np.array_equal(pixels(joined), pixels(whole))
    by_opencv = cv2.imdecode(np.frombuffer(joined, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    assert_alike(by_opencv.astype(int), pixels(whole), mean=0.5)


def test_original_is_fine_enough_to_measure_on():
    picture = scene(900, 700)
    kept = pixels(taken_in(encoded(picture, quality=90)).original)
    error = np.sqrt(np.mean((kept - np.asarray(picture).astype(int)) ** 2))
    assert 20 * np.log10(255 / error) > 38  # dB; common practice, no published source


@pytest.mark.parametrize(
    "picture",
    [
        scene().convert("L"),
        scene().convert("CMYK"),
        scene().convert("P", palette=Image.Palette.ADAPTIVE),
        scene().convert("1"),
    ],
    ids=lambda picture: picture.mode,
)
def test_other_colour_modes(picture):
    file_format = "JPEG" if picture.mode in ("L", "CMYK") else "PNG"
    result = taken_in(encoded(picture, file_format))
    assert_alike(pixels(result.original), np.asarray(picture.convert("RGB")).astype(int), mean=8)


def test_sixteen_bit_grey_keeps_its_shades():
    shades = np.linspace(0, 65535, 200 * 100).reshape(100, 200).astype(np.uint16)
    result = taken_in(encoded(Image.fromarray(shades), "PNG"))
    assert_alike(pixels(result.original)[..., 0], shades.astype(int) // 256)


@pytest.mark.parametrize("file_format", ["PNG", "WEBP"])
def test_transparent_parts_become_white(file_format):
    picture = scene().convert("RGBA")
    picture.paste((200, 0, 0, 0), (0, 0, 100, 213))
    kept = pixels(taken_in(encoded(picture, file_format)).original)
    assert kept[:, :90].min() > 245


def test_transparency_in_a_palette():
    picture = Image.new("P", (80, 80), 1)
    picture.putpalette([10, 10, 10, 200, 30, 30])
    picture.paste(0, (0, 0, 40, 80))
    kept = pixels(taken_in(encoded(picture, "PNG", transparency=0)).original)
    assert kept[:, :30].min() > 245
    assert_alike(kept[:, 50:], np.full((80, 30, 3), (200, 30, 30)))


# --- Upright

# Exif 2.2 (JEITA CP-3451), tag 274 Orientation: on which visual side the stored 0th row and the
# stored 0th column lie.
SIDES = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def stored(upright, orientation):
    row_side, column_side = SIDES[orientation]
    data = np.asarray(upright)
    if row_side in ("left", "right"):
        data = data.swapaxes(0, 1)
    if row_side in ("bottom", "right"):
        data = data[::-1]
    if column_side in ("bottom", "right"):
        data = data[:, ::-1]
    return Image.fromarray(np.ascontiguousarray(data))


@pytest.mark.parametrize("orientation", SIDES)
@pytest.mark.parametrize("file_format", ["JPEG", "large JPEG", "PNG", "WEBP", "HEIF"])
def test_turned_upright(file_format, orientation, monkeypatch):
    if file_format == "large JPEG":
        monkeypatch.setattr(intake, "_LARGE_PIXELS", 1)
    exif = exif_with({ExifTags.Base.Orientation: orientation})
    sideways = stored(scene(), orientation)
    result = taken_in(encoded(sideways, file_format.split()[-1], quality=95, exif=exif))
    assert (result.width, result.height) == (330, 213)
    expected = np.asarray(scene()).astype(int)
    assert_alike(pixels(result.original), expected, mean=3)
    assert_alike(pixels(result.sizes[800]), expected, mean=4)


@pytest.mark.parametrize("orientation", [0, 9, 4000])
def test_an_orientation_outside_the_table_is_left_alone(orientation):
    exif = exif_with({ExifTags.Base.Orientation: orientation})
    assert taken_in(encoded(scene(), exif=exif)).width == 330


def test_phone_file_of_two_frames_counts_as_its_first():
    two = encoded(scene(), "MPO", save_all=True, append_images=[scene(seed=2)], quality=95)
    assert Image.open(io.BytesIO(two)).n_frames == 2
    result = taken_in(two)
    assert result.format == "JPEG"
    assert_alike(pixels(result.original), np.asarray(scene()).astype(int))


@pytest.mark.parametrize("subsampling", ["4:4:4", "4:2:2", "4:2:0"])
@pytest.mark.parametrize("size", [(330, 213), (331, 214), (192, 640), (513, 129)])
def test_large_jpeg_is_read_in_planes_to_the_same_picture(subsampling, size, monkeypatch):
    data = encoded(scene(*size), subsampling=subsampling)
    whole = pixels(taken_in(data).original)
    monkeypatch.setattr(intake, "_LARGE_PIXELS", 1)
    assert_alike(pixels(taken_in(data).original), whole, mean=1.5)


def test_jpeg_stored_as_rgb(monkeypatch):
    data = encoded(scene(), keep_rgb=True, subsampling="4:4:4")
    assert_alike(pixels(taken_in(data).original), np.asarray(scene()).astype(int))
    monkeypatch.setattr(intake, "_LARGE_PIXELS", 1)
    assert_alike(pixels(taken_in(data).original), np.asarray(scene()).astype(int))


# --- Nothing beside the pixels is kept


def marker_codes(jpeg):
    """Marker segments up to the scan, walked as in ITU-T T.81, B.1.1."""
    codes, at = [], 2
    while not codes or codes[-1] != 0xDA:
        assert jpeg[at] == 0xFF
        codes.append(jpeg[at + 1])
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    return codes


def with_everything(file_format):
    position = {
        ExifTags.GPS.GPSLatitudeRef: "N",
        ExifTags.GPS.GPSLatitude: (51.0, 28.0, 38.0),
        ExifTags.GPS.GPSProcessingMethod: SECRET.encode(),
    }
    exif = exif_with(
        {ExifTags.Base.ImageDescription: SECRET, ExifTags.Base.DateTime: "2024:10:05 17:20:00"},
        {ExifTags.Base.UserComment: SECRET.encode()},
        position,
    )
    xmp = f'<x:xmpmeta xmlns:x="adobe:ns:meta/">{SECRET} exif:GPSLatitude</x:xmpmeta>'
    options = {"exif": exif}
    if file_format == "PNG":
        options["pnginfo"] = PngImagePlugin.PngInfo()
        options["pnginfo"].add_text("Comment", SECRET)
        options["pnginfo"].add_itxt("XML:com.adobe.xmp", xmp)
    else:
        options["xmp"] = xmp.encode()
    if file_format == "JPEG":
        options["comment"] = SECRET
    return encoded(scene(), file_format, **options) + SECRET.encode()


@pytest.mark.parametrize("file_format", ["JPEG", "large JPEG", "PNG", "WEBP", "HEIF"])
def test_position_and_all_other_metadata_are_gone(file_format, monkeypatch):
    if file_format == "large JPEG":
        monkeypatch.setattr(intake, "_LARGE_PIXELS", 1)
    data = with_everything(file_format.split()[-1])
    assert data.count(SECRET.encode()) >= 4
    result = taken_in(data)
    assert result.taken.local == clock("2024-10-05 17:20")  # the date alone is kept
    # JFIF, tables, frame, restart interval, scan; no other APPn and no COM.
    plain = {0xE0, 0xDB, 0xC0, 0xC4, 0xDD, 0xDA}
    for jpeg in (result.original, *result.sizes.values()):
        assert set(marker_codes(jpeg)) <= plain
        assert SECRET.encode() not in jpeg
        kept = Image.open(io.BytesIO(jpeg))
        assert not kept.getexif()
        assert set(kept.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


# --- Colour


def wide_profile():
    """An ICC profile with the primaries of Display P3 (SMPTE EG 432-1) and the curve of sRGB."""
    to_xyz = primaries_to_xyz(P3)
    bradford = np.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    )
    white, d50 = bradford @ to_xyz @ np.ones(3), bradford @ np.array([0.9642, 1.0, 0.8249])
    to_d50 = np.linalg.inv(bradford) @ np.diag(d50 / white) @ bradford @ to_xyz
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    for number in range(int.from_bytes(profile[128:132], "big")):
        tag, offset, _ = struct.unpack_from(">4sII", profile, 132 + 12 * number)
        if tag in (b"rXYZ", b"gXYZ", b"bXYZ"):
            column = to_d50[:, b"rgb".index(tag[:1])]
            struct.pack_into(">3i", profile, offset + 8, *(round(v * 65536) for v in column))
    return bytes(profile).replace("sRGB".encode("utf-16-be"), "Wide".encode("utf-16-be"))


# Red, green, blue and white in x, y. SMPTE EG 432-1 with D65; IEC 61966-2-1. From memory.
P3 = (0.680, 0.320), (0.265, 0.690), (0.150, 0.060)
SRGB = (0.640, 0.330), (0.300, 0.600), (0.150, 0.060)
D65 = (0.3127, 0.3290)


def primaries_to_xyz(primaries):
    columns = np.array([(x / y, 1, (1 - x - y) / y) for x, y in primaries]).T
    white = np.array([D65[0] / D65[1], 1, (1 - D65[0] - D65[1]) / D65[1]])
    return columns * np.linalg.solve(columns, white)


def p3_to_srgb(colour):
    """Both share the curve of IEC 61966-2-1."""
    share = np.array(colour) / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    linear = np.linalg.solve(primaries_to_xyz(SRGB), primaries_to_xyz(P3) @ linear).clip(0, 1)
    return 255 * np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("colour", [(180, 90, 70), (120, 140, 60), (200, 180, 120)])
@pytest.mark.parametrize("file_format", ["JPEG", "large JPEG", "PNG", "HEIF"])
def test_wide_colours_of_a_phone_become_srgb(file_format, colour, monkeypatch):
    if file_format == "large JPEG":
        monkeypatch.setattr(intake, "_LARGE_PIXELS", 1)
    picture = Image.new("RGB", (100, 80), colour)
    data = encoded(picture, file_format.split()[-1], icc_profile=wide_profile())
    middle = pixels(taken_in(data).original)[40, 50]
    assert np.abs(p3_to_srgb(colour) - colour).max() > 5
    assert np.abs(middle - p3_to_srgb(colour)).max() <= 3


def test_a_broken_profile_does_not_cost_the_picture():
    data = encoded(scene(), icc_profile=b"no profile at all" * 20)
    assert_alike(pixels(taken_in(data).original), np.asarray(scene()).astype(int))


# --- Date


TAGS = ExifTags.Base
# Format and "unknown" as blanks: Exif 2.2 (JEITA CP-3451), tags 306 and 36867. Offsets: Exif 2.31
# (CIPA DC-008), tags 36880 and 36881, from memory. All zero: seen from cameras whose clock was
# never set, from memory.
DATES = [
    (
        {},
        {TAGS.DateTimeOriginal: "2023:02:28 07:05:09", TAGS.OffsetTimeOriginal: "+01:00"},
        Taken(clock("2023-02-28 07:05:09"), timedelta(hours=1)),
    ),
    (
        {TAGS.DateTime: "2024:01:01 00:00:00"},
        {TAGS.DateTimeOriginal: "2023:02:28 07:05:09", TAGS.OffsetTimeOriginal: "-03:30"},
        Taken(clock("2023-02-28 07:05:09"), -timedelta(hours=3, minutes=30)),
    ),
    (
        {TAGS.DateTime: "2024:01:01 00:00:00"},
        {TAGS.OffsetTimeOriginal: "+09:00"},
        Taken(clock("2024-01-01"), None),
    ),
    (
        {TAGS.DateTime: "2024:01:01 00:00:00"},
        {TAGS.DateTimeOriginal: "    :  :     :  :  ", TAGS.OffsetTime: "+00:00"},
        Taken(clock("2024-01-01"), timedelta(0)),
    ),
    ({}, {TAGS.DateTimeOriginal: "0000:00:00 00:00:00"}, None),
    ({}, {TAGS.DateTimeOriginal: "2023:02:30 07:05:09"}, None),
    ({}, {TAGS.DateTimeOriginal: "yesterday"}, None),
    (
        {},
        {TAGS.DateTimeOriginal: "2023:02:28 07:05:09", TAGS.OffsetTimeOriginal: "   :  "},
        Taken(clock("2023-02-28 07:05:09"), None),
    ),
    (
        {},
        {TAGS.DateTimeOriginal: "2023:02:28 07:05:09", TAGS.OffsetTimeOriginal: "+99:00"},
        Taken(clock("2023-02-28 07:05:09"), None),
    ),
]


@pytest.mark.parametrize(("tags", "details", "expected"), DATES)
@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_date_taken(file_format, tags, details, expected):
    data = encoded(scene(), file_format, exif=exif_with(tags, details))
    assert taken_in(data).taken == expected


# Exif 2.2 (JEITA CP-3451), tag 41989 FocalLengthIn35mmFilm: a SHORT, 0 when unknown.
@pytest.mark.parametrize(("said", "kept"), [(26, 26), (0, None), (65535, None), ("26", None)])
def test_the_lens_is_kept_as_the_camera_wrote_it(said, kept):
    data = encoded(scene(), exif=exif_with((), {TAGS.FocalLengthIn35mmFilm: said}))
    assert taken_in(data).film_focal == kept


def test_broken_notes_do_not_cost_the_picture():
    data = encoded(scene(), exif=b"Exif\0\0MM\0*\xff\xff\xff\xff" + b"\x7f" * 50)
    assert taken_in(data).taken is None


# --- Perceptual hash


def apart(one, other):
    return (one ^ other).bit_count()


def test_hash_of_a_known_picture():
    """Lighter to the right all over: every bit set; the other way round: none."""
    ramp = Image.fromarray(np.tile(np.arange(0, 180, 2, dtype=np.uint8), (64, 1)))
    assert difference_hash(ramp) == 2**64 - 1
    assert difference_hash(ramp.transpose(Image.Transpose.FLIP_LEFT_RIGHT)) == 0


def test_hash_finds_the_same_picture_again_and_tells_others_apart():
    full = taken_in(encoded(scene(1800, 1200)))
    again = taken_in(encoded(scene(1800, 1200).resize((700, 467)), quality=60))
    assert full.sha256 != again.sha256
    assert apart(full.perceptual_hash, again.perceptual_hash) <= 3
    for seed in range(2, 12):
        other = taken_in(encoded(scene(600, 400, seed=seed)))
        assert apart(full.perceptual_hash, other.perceptual_hash) >= 12


# --- What is refused


def test_empty_file():
    assert reason(b"") == "“IMG_0001.jpg” is empty. Send the photo again."


@pytest.mark.parametrize("file_format", ["JPEG", "large JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
def test_cut_off_in_the_middle(file_format, share, monkeypatch):
    if file_format == "large JPEG":
        monkeypatch.setattr(intake, "_LARGE_PIXELS", 1)
    data = encoded(scene(), file_format.split()[-1])
    assert "is damaged" in reason(data[: int(len(data) * share)])


def test_cut_off_jpeg_says_so():
    data = encoded(scene())
    assert "is damaged: it stops in the middle" in reason(data[: len(data) // 2])


def test_damage_anywhere_is_refused_or_survived_but_never_crashes():
    chance = random.Random(7)
    for file_format in ("JPEG", "PNG", "WEBP", "HEIF"):
        data = encoded(scene(120, 90), file_format, exif=exif_with({TAGS.Orientation: 6}))
        outcomes = set()
        for _ in range(60):
            hurt = bytearray(data)
            for _ in range(chance.choice((1, 4, 30))):
                hurt[chance.randrange(12, len(hurt))] = chance.randrange(256)
            try:
                outcomes.add(type(taken_in(bytes(hurt))))
            except RefusedPhoto as refusal:
                assert refusal.reason.startswith("“IMG_0001.jpg” is ")
                outcomes.add(RefusedPhoto)
        assert RefusedPhoto in outcomes


def test_too_many_bytes():
    data = encoded(scene())
    padded = data + bytes(intake.MAX_BYTES + 1 - len(data))
    assert "is larger than 30 MB" in reason(padded)
    assert taken_in(padded[:-1]).width == 330


def png_claiming(width, height, *chunks, colour=2):
    """A PNG by hand (W3C PNG, section 5): signature, IHDR, then the given chunks."""
    ihdr = struct.pack(">IIBBBBB", width, height, 8, colour, 0, 0, 0)
    out = b"\x89PNG\r\n\x1a\n"
    for kind, body in ((b"IHDR", ihdr), *chunks, (b"IEND", b"")):
        crc = zlib.crc32(kind + body)
        out += struct.pack(">I", len(body)) + kind + body + struct.pack(">I", crc)
    return out


def jpeg_claiming(width, height, **options):
    data = bytearray(encoded(scene(), **options))
    frame = data.index(b"\xff\xc2" if options.get("progressive") else b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
    return bytes(data)


@pytest.mark.parametrize(
    "data",
    [
        png_claiming(10_000, 8_001),
        png_claiming(60_000, 60_000, (b"IDAT", zlib.compress(bytes(10_000_000)))),
        png_claiming(2**31 - 1, 2**31 - 1),
        jpeg_claiming(10_000, 8_001),
        jpeg_claiming(65_500, 65_500),
    ],
)
def test_more_than_80_megapixels_is_refused_before_decoding(data):
    assert "is larger than 80 megapixels" in reason(data)


def test_80_megapixels_are_not_too_many():
    """Said to be damaged, for nothing follows the header: the size itself was let through."""
    assert "is damaged" in reason(png_claiming(10_000, 8_000, colour=0))


def test_a_kind_whose_decoding_takes_more_memory_is_read_up_to_fewer_pixels():
    said = reason(png_claiming(10_000, 8_000))
    assert "has 80 megapixels" in said and "a PNG is read up to 56" in said
    assert "is damaged" in reason(png_claiming(8_000, 7_000))
    said = reason(jpeg_claiming(9_000, 8_000, progressive=True))
    assert "a progressive JPEG is read up to 46" in said and "ordinary JPEG" in said
    said = reason(encoded(Image.new("RGB", (5_000, 4_000)), "WEBP", quality=10, method=0))
    assert "a WebP is read up to 14" in said


def test_very_long_picture():
    assert "is longer than 65,500 pixels" in reason(png_claiming(70_000, 10))


def test_packed_text_in_a_png_is_not_unpacked_without_limit():
    bomb = b"Comment\0\0" + zlib.compress(bytes(100_000_000))
    assert "is damaged" in reason(png_claiming(50, 50, (b"zTXt", bomb)))


@pytest.mark.parametrize("file_format", ["WEBP", "PNG"])
def test_frames_count_towards_the_pixels(file_format):
    # Each differs from the one before, or an encoder would count the two as one.
    frames = [Image.new("RGB", (1000, 1000), "red" if n % 2 else "blue") for n in range(81)]
    few = encoded(frames[0], file_format, save_all=True, append_images=frames[1:3])
    assert taken_in(few).width == 1000
    many = encoded(frames[0], file_format, save_all=True, append_images=frames[1:])
    assert "is larger than 80 megapixels" in reason(many)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (encoded(scene(), "GIF"), "is a GIF file"),
        (encoded(scene(), "TIFF"), "is a TIFF file"),
        (encoded(scene(), "PDF"), "is a PDF file"),
        (encoded(scene(), "BMP"), "is a BMP file"),
        (encoded(scene(), "AVIF"), "is not a picture we can read (JPEG, PNG, WebP or HEIC)"),
        (b"\0\0\0\x14ftypqt  \0\0\0\0qt  ", "is a video"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "is not a picture we can read"),
        (b"Marjoram, left foot, a bit warm\n" * 20, "is not a picture we can read"),
        (b"\xff", "is not a picture we can read"),
    ],
)
def test_foreign_files_called_jpg_are_refused(data, words):
    assert words in reason(data)


@pytest.mark.parametrize("name", ["foot.png", "foot", "foot.exe", "foot.jpg.pdf", ""])
def test_a_wrong_name_is_no_reason_to_refuse_a_good_picture(name):
    assert taken_in(encoded(scene()), name).format == "JPEG"


def test_names_in_messages_are_short_and_harmless():
    assert reason(b"", "../../etc\\C:\\pic\x1b[2J\nture.jpg").startswith("“pic[2Jture.jpg” is")
    assert reason(b"", "a" * 5000).startswith("“" + "a" * 80 + "”")
    assert reason(b"", "").startswith("This file is empty")


def test_the_stream_is_left_open_and_may_stand_anywhere():
    stream = io.BytesIO(encoded(scene()))
    stream.seek(100)
    first = take_in(stream, "a.jpg")
    assert not stream.closed
    assert take_in(stream, "a.jpg") == first


# --- How much at once


def test_one_picture_is_read_at_a_time_whoever_brings_them(monkeypatch):
    read, inside, most = intake._read, [], []

    def slowly(*args):
        inside.append(1)
        most.append(len(inside))
        time.sleep(0.02)
        inside.pop()
        return read(*args)

    monkeypatch.setattr(intake, "_read", slowly)
    names = [f"{number}.jpg" for number in range(8)]
    files = {name: encoded(scene(seed=int(name[0]))) for name in names}
    files["3.jpg"] = b"\xff\xd8\xff and no more"
    told = {}

    def bring(name):
        try:
            told[name] = taken_in(files[name], name).sha256
        except RefusedPhoto as refused:
            told[name] = refused.reason

    threads = [threading.Thread(target=bring, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(most) == {1}
    assert len(most) == 7
    assert "“3.jpg” is damaged" in told.pop("3.jpg")
    assert told == {name: hashlib.sha256(files[name]).hexdigest() for name in told}


def test_eight_phones_at_once_take_little_more_memory_than_one(tmp_path):
    path = tmp_path / "phone.jpg"
    path.write_bytes(encoded(scene(4000, 3000)))
    taken = [
        int(
            subprocess.run(
                [sys.executable, "tests/bench/intake.py", "--peak", path, count],
                capture_output=True,
                check=True,
                text=True,
            ).stdout.split()[0]
        )
        for count in ("1", "8")
    ]
    assert taken[1] < 1.5 * taken[0]


def test_a_small_picture_that_is_kept_is_itself_what_is_shown():
    """Nothing is encoded anew for a size that it does not exceed; what is smaller is made."""
    data = encoded(scene().resize((1200, 900)))
    kept = take_in(io.BytesIO(data), "a.jpg", original=data)
    assert kept.original is data and kept.sizes[1600] is data
    shown = Image.open(io.BytesIO(kept.sizes[800]))
    assert shown.size == (800, 600)
    anew = taken_in(data)
    assert_alike(pixels(kept.sizes[800]), pixels(anew.sizes[800]).astype(int), mean=3)
    assert (kept.perceptual_hash ^ anew.perceptual_hash).bit_count() <= 4
    inks = encoded(scene().convert("CMYK"), subsampling="4:4:4")
    shown = take_in(io.BytesIO(inks), "a.jpg", original=inks).sizes[1600]
    assert Image.open(io.BytesIO(shown)).mode == "RGB", "as every browser shows it"
