"""Elements of SVG and HTML as text, with everything that is not markup already escaped."""

from __future__ import annotations

from collections.abc import Mapping
from xml.sax.saxutils import escape

_QUOTE = {'"': "&quot;", "'": "&#x27;"}


class Markup(str):
    """Text that may stand in a page as it is; template engines recognise it by ``__html__``."""

    __slots__ = ()

    def __html__(self) -> str:
        return self


def number(value: float) -> str:
    """At most two decimals, no trailing zeros: SVG user units and percentages."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def percent(share: float) -> str:
    """A share of the whole (0–1) as an SVG percentage."""
    return number(share * 100) + "%"


def text(value) -> Markup:
    """``value`` escaped for element content and quoted attributes; markup stays as it is."""
    if isinstance(value, Markup):
        return value
    if isinstance(value, float):
        return Markup(number(value))
    return Markup(escape(str(value), _QUOTE))


def element(
    name: str, attributes: Mapping[str, object] | None = None, /, *children: object
) -> Markup:
    """``<name …>children</name>``; attributes that are None are left out."""
    written = (
        "".join(f' {key}="{text(value)}"' for key, value in attributes.items() if value is not None)
        if attributes
        else ""
    )
    if not children:
        return Markup(f"<{name}{written}/>")
    return Markup(f"<{name}{written}>{''.join(map(text, children))}</{name}>")


def join(parts) -> Markup:
    """Several pieces one after the other, each escaped unless it is markup."""
    return Markup("".join(map(text, parts)))
