"""Words of the trade in all that keepers read: pages, messages, what commands print, the READMEs.

A word is refused in the sense in which another one is said. Where it means something else it stands
among the ``OTHER_SENSES``, in the words around it.
"""

import ast
import re
from functools import cache
from pathlib import Path

import pytest
from django.core.management import call_command, get_commands, load_command_class

from tests.core.test_access import IN_A_FLOCK, address, records

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
    "restore": r"\bbr(ing|ings|ought)( [\w’{}]+){0,3} back\b",
    "deleted (only a keeper is removed)": (
        r"\b(been|just|it|this) removed\b|\bremoved it\b|\bis removed\. "
    ),
    "turn off, expire (a link)": (
        r"\b(links?|invitations?)\b[^.]{0,40}\b(run out|ended|withdrawn)\b"
        r"|\bend (this|the) link\b|\btime (is|was) over\b|\bopens? nothing\b"
    ),
    "copy it now": r"\bshown only now\b",
    "notification": r"\b(a|no|push) notices?\b|\bnotices (from|on|to)\b",
    "Flockcare’s computer": r"\bcomputer at home\b|\bthe machine itself\b",
    "in the future": r"\bstill to come\b",
    "too long ago, right": r"\b(to be|if it is) meant\b",
    "nearest": r"\bnext (large )?town\b",
    "again": r"\bonce more\b",
    "somebody": r"\bsomeone\b",
    "is not a …": r"\b(this|it|that) is no (?!longer\b|more\b)[a-z]+\b",
    "leave blank": r"\bleave( it| this)? empty\b|\bempty means\b",
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
    r"look|mend|back|over|luck|down|stretch|window|deed|byline|egg|step|score|kept|sore|remov|link"
    r"|invit|end|noth|shown|notice|computer|machine|come|meant|town|once|someone|is no|empty"
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


# What is said in these is read by keepers, were it a single word.
SAYING = re.compile(
    r"(ValidationError|CommandError|Problem|Refused|PermissionDenied|Http404|LinkGone|LineField"
    r"|messages\.\w+|stdout\.write|stderr\.write|print|mark_safe|format_html)$"
)
SAID = {"label", "help_text", "verbose_name", "empty_label", "help", "words", "message"}


def said_for_sure(tree: ast.AST) -> list[ast.AST]:
    """What keepers are told, by the call or the name it is given to."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            found += node.args if SAYING.search(ast.unparse(node.func)) else []
            found += [each.value for each in node.keywords if each.arg in SAID]
        elif isinstance(node, ast.ClassDef) and "Choices" in str([*map(ast.unparse, node.bases)]):
            members = [each.value for each in node.body if isinstance(each, ast.Assign)]
            found += [each.elts[-1] for each in members if isinstance(each, ast.Tuple)]
    return [part for whole in found for part in ast.walk(whole)]


def prose(source: str) -> list[str]:
    """String literals of a module that read as words, without its docstrings."""
    tree = ast.parse(source)
    sure = set(map(id, said_for_sure(tree)))
    passed = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    texts = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            passed.update(map(id, node.values))
            text = "".join(getattr(part, "value", "{}") if isinstance(part, ast.Constant)
                           else "{}" for part in node.values)  # fmt: skip
        elif isinstance(getattr(node, "value", None), str) and id(node) not in passed:
            text = node.value
        else:
            continue
        if id(node) in sure or READS.search(text):
            texts.append(text)
    return texts


QUOTED = re.compile(r"""(["'])((?:(?!\1)[^\\\n]|\\.)*)\1""")
COMMENT = re.compile(r"//(?<!:).*|/\*(?s:.*?)\*/")


def spoken_by_script(source: str) -> list[str]:
    """Texts of a script; one between backticks may have others inside its ``${…}``."""
    texts = []

    def read_code(at: int, inside: bool = False) -> int:
        depth = 0
        while at < len(source):
            if found := QUOTED.match(source, at):
                texts.append(found[2])
                at = found.end()
            elif source[at] == "`":
                at = read_template(at + 1)
            elif source.startswith(("//", "/*"), at) and (found := COMMENT.match(source, at)):
                at = found.end()
            else:
                depth += {"{": 1, "}": -1}.get(source[at], 0)
                at += 1
                if inside and depth < 0:
                    return at
        return at

    def read_template(at: int) -> int:
        words = ""
        while at < len(source) and source[at] != "`":
            if source.startswith("${", at):
                words, at = f"{words}{{}}", read_code(at + 2, inside=True)
            else:
                words, at = words + source[at], at + 1 + (source[at] == "\\")
        texts.append(words)
        return at + 1

    read_code(0)
    return list(filter(READS.search, texts))


def document(source: str) -> list[str]:
    source = re.sub(r"(?s)```.*?```|`[^`]*`|\]\([^)]*\)", "", source)
    return re.sub(r"(?m)^ {4,}.*$", "", source).split("\n")


# Where words are read from, how, and how many texts there are at least: fewer were a fault here.
READ = {
    "templates": ("templates", "*.html", visible, 3000),
    "code": ("flockcare", "*.py", prose, 2700),
    "scripts": ("static/js", "*.js", spoken_by_script, 220),
    "scripts beside code": ("flockcare", "*.js", spoken_by_script, 3),
    "documents": (".", "*.md", document, 250),
}


def files(folder: str, pattern: str) -> list[Path]:
    if folder == ".":  # The tests' own and what is installed are no documents of ours.
        return [*ROOT.glob(pattern), *(ROOT / "flockcare").rglob(pattern)]
    return [path for path in (ROOT / folder).rglob(pattern) if not LEFT_OUT & set(path.parts)]


@cache
def read() -> list[tuple[str, str]]:
    """``(file, text)`` of all that is read."""
    return [
        (str(path.relative_to(ROOT)), text)
        for folder, pattern, texts_of, _ in READ.values()
        for path in files(folder, pattern)
        for text in texts_of(path.read_text())
    ]


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


@pytest.mark.parametrize("kind", READ)
def test_of_each_kind_all_is_read(kind):
    folder, pattern, texts_of, fewest = READ[kind]
    assert sum(len(texts_of(path.read_text())) for path in files(folder, pattern)) >= fewest


@pytest.mark.parametrize("path", files("flockcare", "*.py"), ids=lambda path: path.name)
def test_what_is_told_for_sure_is_read(path):
    """Each call that refuses or says something has its words among those of its file."""
    source = path.read_text()
    texts = prose(source)
    for part in said_for_sure(ast.parse(source)):
        if isinstance(part, ast.Constant) and isinstance(part.value, str) and " " in part.value:
            assert any(part.value in text for text in texts)


def test_keepers_read_the_words_of_the_trade():
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


@pytest.mark.parametrize(
    "source",
    [
        'raise ValidationError("Luck.")',
        'raise CommandError(f"{name}: deed")',
        'day = forms.DateField(label="Deed")',
        'parser.add_argument("--on", help="luck")',
        'class Kind(models.TextChoices):\n    DONE = "done", "Deed"',
        'messages.success(request, "Mended" if done else "")',
    ],
)
def test_a_single_word_that_is_said_is_found(source):
    assert any(map(refused, prose(source)))


@pytest.mark.parametrize(
    "source",
    [
        "say('Bad luck here');",
        'say(`Waits: ${count > 1 ? `${count} of bad luck` : { a: "" }}`);',
        "say(`Bad luck: ${name({ day })}`); // Not this.",
    ],
)
def test_a_word_in_a_script_is_found_in_any_quotes(source):
    assert any(map(refused, spoken_by_script(source)))


COMMANDS = sorted(name for name, app in get_commands().items() if str(app).startswith("flockcare."))


@pytest.mark.parametrize("name", COMMANDS)
def test_what_a_command_says_of_itself(name):
    words = load_command_class(get_commands()[name], name).create_parser("manage.py", name)
    assert len(words.format_help()) > 200 and not refused(words.format_help())


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["today", "trends"])
def test_what_a_command_prints(cast, birds, capsys, name):
    records(cast.flock, cast.owner)
    call_command(name, flock=cast.flock.name)
    printed = capsys.readouterr().out
    assert len(printed) > 60 and not refused(printed)


@pytest.mark.django_db
def test_pages_as_they_are_shown(cast):
    """With what code makes of records, on every page that an owner can open."""
    found = records(cast.flock, cast.owner)
    pages = {}
    for name in IN_A_FLOCK:
        answer = cast.clients.owner.get(address(name, cast.flock, found))
        if answer.status_code == 200 and answer.headers["Content-Type"].startswith("text/html"):
            pages[name] = visible(answer.text)
    assert len(pages) > 80 and all(map(len, pages.values()))
    faults = [f"{name}: {fault}" for name, texts in pages.items() for text in texts
              for fault in refused(text)]  # fmt: skip
    assert not faults, "\n".join(faults)
