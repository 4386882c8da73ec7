"""A picture that was exported is kept as it is, not compressed a second time.

Whoever packs a zip can write any hash beside a picture, so the hash is no reason to trust it: the
file is decoded whole, within the limits, like any other, and it is kept only if it is bare: a JPEG
of one scan in which nothing can hide but the picture itself.
"""

import hashlib
import re
import struct

# ITU-T T.81, table B.1: quantization and Huffman tables, baseline frame, restart interval, scan.
_DQT, _DHT, _SOF0, _DRI, _SOS = 0xDB, 0xC4, 0xC0, 0xDD, 0xDA
_ALLOWED = {_DQT, _DHT, _SOF0, _DRI, _SOS}
# JFIF (ITU-T T.871, 10.1): 14 bytes, the last two of which say that there is no thumbnail.
_APP0, _JFIF, _JFIF_LENGTH = 0xE0, b"JFIF\0", 16
_START, _END = b"\xff\xd8", b"\xff\xd9"
_MARKER = re.compile(rb"\xff(?![\x00\xd0-\xd7])")


def may_stay(data: bytes, sha256: str | None) -> bool:
    """Whether a file may be kept byte for byte, if it can be decoded."""
    return hashlib.sha256(data).hexdigest() == sha256 and is_bare(data)


def is_bare(data: bytes) -> bool:
    """Whether a JPEG holds one picture and nothing else: no notes, no thumbnail, no tail."""
    if not data.startswith(_START):
        return False
    try:
        at, marker = 2, None
        while marker != _SOS:
            lead, marker, length = struct.unpack_from(">BBH", data, at)
            body = data[at + 4 : at + 2 + length]
            if lead != 0xFF or length < 2 or not _is_allowed(marker, length, body):
                return False
            at += 2 + length
    except struct.error:
        return False
    return _scan_ends_the_file(data, at)


def _is_allowed(marker: int, length: int, body: bytes) -> bool:
    if marker == _APP0:
        return length == _JFIF_LENGTH and body.startswith(_JFIF) and body[-2:] == b"\0\0"
    return marker in _ALLOWED


def _scan_ends_the_file(data: bytes, at: int) -> bool:
    """Only the data of the scan, in which 0xFF is followed by 0 or a restart (T.81, B.1.1)."""
    marker = _MARKER.search(data, at)
    return marker is not None and data[marker.start() :] == _END
