"""Words of the trade in all that keepers read: pages, messages, what a command prints, the README.

A word is refused in the sense in which another one is said. Where it means something else it stands
among the ``OTHER_SENSES``, in the words around it.
"""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

# What is said, and what is refused for it. Texts come in small letters, without line breaks.
REFUSED = {
    "check, checked": (
        r"\b(a|an|the|each|every|first|last|next|one|any|this|that|these|no|of|her|his|clear|second"
        r"|\d+|\{\}) looks?\b(?! (after|at|for|like|to|up|it|well|good|the same|larger|surer)\b)"
        r"|\bwhere looks are\b|\blooks, \w+"
        r"|\blook(ed)? at (again|her|him|it again|a (foot|bird)|the (foot|feet))\b"
        r"|\blook(ed)? at (each|every|all|both) (foot|feet|birds?)\b"
        r"|\b(is|are|was|were|been|be|dressing) looked (at|through)\b|\bwho looked\b|^looks?$"
    ),
    "mild, swollen, clear": r"\bscore [12],? (is )?(a )?sore\b|\bsore \(score",
    "egg withdrawal, don’t eat her eggs": (
        r"\beggs?\b[^.;]{0,40}\b(held|holds?|holding)\b"
        r"|\b(held|holds?|holding)\b[^.:;]{0,20}\beggs?\b"
    ),
    "care given, log care": (
        r"\blog(s|ged|ging)? (a|the|one|another|this|that) step\b"
        r"|\bsteps? of care\b|\bcare steps?\b"
    ),
    "correct": r"\bmend(s|ed|ing)?\b",
    "undo, delete, withdraw": r"\b(take|takes|taken|taking|took)\b( [\w’]+){0,5} back\b",
    "skip": r"\bpass(ed|es|ing)?( [\w’{}]+)? over\b",
    "saved": r"^kept: |^kept as (a|the)\b",
    "chance": r"\b(un)?luck(y|ily)?\b",
    "recorded, not recorded": r"\bwr(ite|ites|iting|itten|ote)\b( [\w’{}]+){0,3} down\b",
    "period": r"\bstretch(es)?\b|\bwindows?\b",
    "by": r"\bdeeds?\b|\bbylines?\b",
}
OTHER_SENSES = (
    # The hole of a printed card, through which the sore shows.
    r"\b(in|through|round|inside|outside|beside|of) (the|its|the card’s|a) windows?\b",
    r"\b(the card’s|its|cut out the) window\b",
    r"^windows: ",  # The name of a system.
    r"^dressing looked at$",  # A value in exports; its label is another.
)
# Migrations tell of the past, and what invented keepers typed is as people talk.
LEFT_OUT = {"migrations", "demo"}
# What every refused word has in it, asked first because it is quick.
STEM = re.compile(
    r"look|mend|back|over|luck|down|stretch|window|deed|byline|egg|step|score|kept|sore"
)
STRAIGHT = re.compile(r"[a-z]'[a-z]|s'(?= [a-z])", re.IGNORECASE)
PERCENT_APART = re.compile(r"[\d}](?:\s|&nbsp;)%(?!\()")
SPOKEN = {
    "alt", "aria-label", "content", "data-confirm", "label", "placeholder", "title", "value",
}  # fmt: skip
# One text each, as small words and letters within a sentence are not.
APART = re.compile(r"</?(?:p|h\d|li|dt|dd|t[dhr]|div|label|legend|option|button|summary)\b[^>]*>")
READS = re.compile(r"[a-z{}]{2,},? [a-z{}\d]|^[A-Z][a-z]+[.:]( \S|$)")


def visible(template: str) -> list[str]:
    """Texts of a template: between its tags, in attributes, and what its tags have in quotes."""
    texts = []

    def quoted(found: re.Match) -> str:
        texts.extend(re.findall(r'(?<!name)[=:]"([^"]*)"', found[0]))
        return "{}" if found[0].startswith("{{") else ""

    text = re.sub(r"(?s)\{#.*?#\}|\{% comment.*?endcomment %\}", "", template)
    text = re.sub(r"(?s)\{\{.*?\}\}|\{%.*?%\}", quoted, text)
    text = re.sub(r"(?s)<(script|style)\b.*?</\1>|<!--.*?-->", "", text)
    attributes = re.findall(r'(?s)\s([\w-]+)="([^"]*)"', text)
    texts += [words for attribute, words in attributes if attribute in SPOKEN]
    return [re.sub(r"<[^>]*>", " ", each) for each in [*texts, *APART.split(text)]]


def prose(source: str) -> list[str]:
    """String literals of a module that read as words, without its docstrings."""
    tree = ast.parse(source)
    passed = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    texts = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            passed.update(map(id, node.values))
            texts.append("".join(getattr(part, "value", "{}") if isinstance(part, ast.Constant)
                                 else "{}" for part in node.values))  # fmt: skip
        elif isinstance(getattr(node, "value", None), str) and id(node) not in passed:
            texts.append(node.value)
    return list(filter(READS.search, texts))


def spoken_by_script(source: str) -> list[str]:
    source = re.sub(r"(?m)^\s*(//|\*|/\*).*$|\s//\s.*$", "", source)
    texts = [a or b for a, b in re.findall(r'"((?:[^"\\\n]|\\.)*)"|`([^`]*)`', source)]
    return list(filter(READS.search, (re.sub(r"\$\{[^}]*\}", "{}", text) for text in texts)))


def document(source: str) -> list[str]:
    source = re.sub(r"(?s)```.*?```|`[^`]*`|\]\([^)]*\)", "", source)
    return re.sub(r"(?m)^ {4,}.*$", "", source).split("\n")


@cache
def read() -> list[tuple[str, str]]:
    """``(file, text)`` of all that is read."""
    found = [(path, visible(path.read_text())) for path in (ROOT / "templates").rglob("*.html")]
    found += [
        (path, prose(path.read_text()))
        for path in (ROOT / "flockcare").rglob("*.py")
        if not LEFT_OUT & set(path.parts)
    ]
    scripts = (ROOT / "static/js").rglob("*.js")
    found += [(path, spoken_by_script(path.read_text())) for path in scripts]
    documents = (ROOT / "README.md", ROOT / "flockcare/DEPLOY.md")
    found += [(path, document(path.read_text())) for path in documents]
    return [(str(path.relative_to(ROOT)), text) for path, texts in found for text in texts]


def refused(text: str) -> list[str]:
    text = re.sub(r"\s+", " ", text).strip().lower()
    if not STEM.search(text):
        return []
    for phrase in OTHER_SENSES:
        text = re.sub(phrase, "", text)
    return [
        f"say “{say}”, not “{found[0].strip()}”: … {text[max(0, found.start() - 40) :][:90]} …"
        for say, words in REFUSED.items()
        for found in [re.search(words, text)]
        if found
    ]


def test_keepers_read_the_words_of_the_trade():
    assert len(read()) > 5000
    found = [f"{file}: {fault}" for file, text in read() for fault in refused(text)]
    assert not found, "\n".join(found)


def test_keepers_read_curly_apostrophes():
    found = [
        f"{file}: … {text[max(0, hit.start() - 30) :][:60]!r} …"
        for file, text in read()
        for hit in [STRAIGHT.search(text)]
        if hit and not file.endswith(".md")
    ]
    assert not found, "\n".join(found)


def test_percent_stands_right_after_its_figure():
    found = [
        f"{file}: … {text[max(0, hit.start() - 30) :][:60]!r} …"
        for file, text in read()
        for hit in [PERCENT_APART.search(text)]
        if hit
    ]
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    "words",
    [
        *("Her next look is due", "The foot was looked at", "Look at both feet"),
        *("Mend this check", "Take it back", "Take this import back", "Pass Dill over for now"),
        *("Bad luck", "Nothing is written down", "A stretch of trouble", "Log a step"),
        *("Her eggs are held", "It holds her eggs", "Kept: the gauze", "Undone in one deed"),
        *("Score 1, sore", "The window of a year", "Who looked"),
    ],
)
def test_a_refused_word_is_found_wherever_it_stands(words):
    for texts in (
        visible(f'<p class="a">{words}.</p>'),
        visible(f'{{% include "a.html" with words="{words}" %}}'),
        visible(f'{{{{ name|default:"{words}" }}}}'),
        visible(f'<a aria-label="{words}">Birds</a>'),
        prose(f'"""Docs."""\nsay = f"{words}: {{name}}"'),
        prose(f'say = "{words}" " and more."'),
        spoken_by_script(f'say("{words} here.");'),
        document(f"{words}."),
    ):
        assert any(map(refused, texts)), texts


@pytest.mark.parametrize(
    "words",
    [
        *("It looks well", "They look after the hens", "Hold her", "the sore in its window"),
        *("Windows: open the file", "The vet’s plan holds", "photos that look the same"),
    ],
)
def test_another_sense_is_let_through(words):
    assert not refused(words)
