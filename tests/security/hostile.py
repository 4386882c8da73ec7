"""Requests that nobody in good faith sends; the same ones at every run."""

import io
import random
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote_plus

FLOCKCARE = Path(__file__).resolve().parents[2] / "flockcare"
VALUES = (
    *("", " ", "0", "-1", "1.5", "1e999", "-0.0", "NaN", "inf", "1E+1000000", "0x10", "1_000"),
    *("9" * 20, "-" + "9" * 20, "2147483648", "9223372036854775808", "7" * 5000, "0." + "3" * 500),
    *("٣", "²", "१२", "½", "true", "None", "null", "[]", "{}", '{"a":', "[" * 3000, "[[1,2],[3]]"),
    *('[[1e400, 2], [NaN, 4], ["x", null]]', '{"id": {"$ne": 1}}', "[1, 2, 3, 4]", '"text"'),
    *(
        "0000-00-00",
        "2026-02-30",
        "0001-01-01",
        "9999-12-31",
        "10000-01-01",
        "2026-1-1",
        "-2026-1-1",
    ),
    *("0001-01-01T00:00", "9999-12-31T23:59", "2026-03-29T01:30", "2026-13-45T99:99", "25:61"),
    *("2026", "2026-00", "0000", "99999", "2026-05-", "12:00:00.0000000000", "24:00"),
    *(
        "\0",
        "a\0b",
        "\x1b[31m",
        "\r\nSet-Cookie: a=b",
        "\u202egnp.exe",
        "\ufeff",
        "\ud7ff",
        "\uffff",
    ),
    *("🐔" * 3000, "a" * 70_000, "é" * 61, "' OR 1=1 --", "<script>alert(1)</script>", "{{ 7*7 }}"),
    *("../../etc/passwd", "%00", "%s%s%n", "left", "right", "keeper", "owner", "on", "off"),
    *(
        "00000000-0000-0000-0000-000000000000",
        "{00000000-0000-0000-0000-000000000000}",
        "urn:uuid:1",
    ),
    *(
        "javascript:alert(1)",
        "//example.org/",
        "https://example.org/",
        "\\\\example.org\\a",
        "/\\a",
    ),
)
CONTENT_TYPES = (
    "application/x-www-form-urlencoded",
    "application/x-www-form-urlencoded; charset=utf-16",
    "application/x-www-form-urlencoded; charset=nothing-like-it",
    "multipart/form-data",
    "multipart/form-data; boundary=",
    "multipart/form-data; boundary=" + "x" * 300,
    "multipart/form-data; boundary=é",
    "application/json",
    "application/json; charset=utf-7",
    "text/plain",
    "nonsense",
    "",
)


def names_in_code(kind: str) -> list[str]:
    """The fields that views ask a request for by name: ``kind`` is POST, GET or FILES."""
    pattern = re.compile(rf"\b{kind}(?:\.get|\.getlist|\.pop)?[\[(]\s*\"([\w-]+)\"")
    return sorted(
        {name for path in FLOCKCARE.rglob("*.py") for name in pattern.findall(path.read_text())}
    )


class Fields(HTMLParser):
    """Names and values of the fields in the forms of a page."""

    def __init__(self, page: str):
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self._select = None
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        if tag == "select":
            self._select = given.get("name")
        elif tag == "option" and self._select:
            self.found.append((self._select, given.get("value") or ""))
        elif tag in ("input", "textarea", "button") and given.get("name"):
            self.found.append((given["name"], given.get("value") or ""))


def form(fields, more, chance: random.Random) -> list[tuple[str, str]]:
    """A form of this page with some fields spoilt, missing, doubled, or from elsewhere."""
    chosen = {}
    for name, value in fields:
        if name not in chosen or chance.random() < 0.3:
            chosen[name] = value
    pairs = [(name, value) for name, value in chosen.items() if chance.random() < 0.9]
    for _ in range(chance.choice((1, 1, 2, 4, 12))):
        names = [name for name, _ in fields] if fields and chance.random() < 0.8 else more
        name = chance.choice(names) if names else "x"
        pairs = [pair for pair in pairs if pair[0] != name or chance.random() < 0.2]
        pairs += [(name, chance.choice(VALUES))] * chance.choice((1, 1, 1, 2, 40))
    return pairs


def picture_file(chance: random.Random) -> tuple[str, bytes]:
    names = (
        "a.jpg",
        "",
        "../../a.jpg",
        "a\0.jpg",
        "é" * 300,
        "a.php",
        "con",
        'a".jpg',
        "a\r\nb.jpg",
    )
    start = chance.choice((b"", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\0\0WEBP"))
    return chance.choice(names), start + chance.randbytes(chance.choice((0, 1, 50)))


def body(pairs, files, chance: random.Random) -> tuple[str, bytes]:
    """Content type and bytes of a request with these fields; one in four is not well formed."""
    odd = chance.random()
    if odd < 0.06:
        return chance.choice(CONTENT_TYPES), chance.randbytes(chance.choice((0, 10, 500)))
    if odd < 0.12:
        return chance.choice(CONTENT_TYPES), urlencoded(pairs)
    if files or chance.random() < 0.3:
        data = _multipart(pairs, files)
        if odd < 0.25:
            data = data[: chance.randrange(len(data))]
        return "multipart/form-data; boundary=fence", data
    data = urlencoded(pairs)
    if odd < 0.25:  # bytes that are no text
        data = data.replace(b"=", b"=%FF%C0%80", 1) + b"&x=\xff&%=%zz&=&&"
    return "application/x-www-form-urlencoded", data


def urlencoded(pairs) -> bytes:
    return "&".join(f"{quote_plus(name)}={quote_plus(value)}" for name, value in pairs).encode()


def _multipart(pairs, files) -> bytes:
    out = io.BytesIO()
    for name, value in pairs:
        head = f'--fence\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n'
        out.write(head.encode() + value.encode() + b"\r\n")
    for name, (file_name, content) in files:
        head = f'--fence\r\nContent-Disposition: form-data; name="{name}"; filename="{file_name}"'
        out.write(head.encode() + b"\r\nContent-Type: image/jpeg\r\n\r\n" + content + b"\r\n")
    out.write(b"--fence--\r\n")
    return out.getvalue()
