"""Elements of SVG and HTML as text, with everything that is not markup already escaped."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping

_special = re.compile("[&<>\"']").search


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
    return f"{share * 100:.2f}%"


def text(value) -> Markup:
    """``value`` escaped for element content and quoted attributes; markup stays as it is."""
    return value if isinstance(value, Markup) else Markup(_written(value))


def element(
    name: str, attributes: Mapping[str, object] | None = None, /, *children: object
) -> Markup:
    """``<name …>children</name>``; attributes that are None are left out."""
    written = name
    if attributes:
        for key, value in attributes.items():
            if value is not None:
                written += f' {key}="{_written(value)}"'
    if not children:
        return Markup(f"<{written}/>")
    return Markup(f"<{written}>{''.join(map(_written, children))}</{name}>")


def join(parts) -> Markup:
    """Several pieces one after the other, each escaped unless it is markup."""
    return Markup("".join(map(_written, parts)))


def _written(value) -> str:
    # The kinds in the order of how often they come: a page has thousands of these.
    kind = type(value)
    if kind is Markup:
        return value
    if kind is float:
        return number(value)
    if kind is int:
        return str(value)
    written = str(value)
    return html.escape(written) if _special(written) else written
