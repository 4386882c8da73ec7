"""Nothing is left behind that nobody uses: functions, templates, classes of the style sheets."""

import ast
import re
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
READ = {".py", ".html", ".js", ".svg", ".txt"}
# Functions that are promised to callers outside, and classes that Django finds by itself.
CALLED_FROM_OUTSIDE = {"scan_counts", "interval_curve", "poisson_interval", "sign_flip"}
FOUND_BY_DJANGO = re.compile(r"\w+Config|Command|Migration")
# Rendered by Django's own handlers of errors.
OF_HANDLERS = {"400.html", "403.html", "403_csrf.html", "404.html", "500.html"}


def sources() -> dict[Path, str]:
    return {
        path: path.read_text()
        for folder in ("flockcare", "templates", "static")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in READ and "migrations" not in path.parts
    }


def test_functions_and_classes():
    texts = sources()
    named = Counter(word for text in texts.values() for word in re.findall(r"\w+", text))
    unused = {
        node.name
        for path, text in texts.items()
        if path.suffix == ".py"
        for node in ast.parse(text).body
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and named[node.name] == 1
    }
    assert {name for name in unused if not FOUND_BY_DJANGO.fullmatch(name)} == CALLED_FROM_OUTSIDE


def test_templates():
    texts = sources()
    # Of some templates only the folder is written, and the name is put behind it.
    starts = set(re.findall(r"[\"']([\w/]+/)\{", "\n".join(texts.values())))
    unused = {
        name
        for path in (ROOT / "templates").rglob("*.*")
        for name in [path.relative_to(ROOT / "templates").as_posix()]
        if not any(name in text for other, text in texts.items() if other != path)
        and not any(name.startswith(start) for start in starts)
    }
    assert unused == OF_HANDLERS


def test_classes_of_the_style_sheets():
    everything = "\n".join(sources().values())
    written = set(re.findall(r"[\w-]+", everything))
    # Of some classes only the beginning is written, and the rest is put behind it.
    starts = set(re.findall(r"(?<![\w-])([a-zA-Z][\w-]*-)(?=\{|[\"'] ?\+|\$\{)", everything))
    unused = {
        name
        for path in (ROOT / "static").rglob("*.css")
        for css in [re.sub(r"/\*.*?\*/|url\([^)]*\)", "", path.read_text(), flags=re.DOTALL)]
        for name in re.findall(r"\.([a-zA-Z][\w-]*)", css)
        if name not in written and not any(name.startswith(start) for start in starts)
    }
    assert unused == set()


def test_every_block_of_the_style_sheets_is_closed():
    """One that is left open takes all that follows into it, such as into what is only printed."""
    for path in (ROOT / "static").rglob("*.css"):
        css = re.sub(r"/\*.*?\*/", "", path.read_text(), flags=re.DOTALL)
        depth = 0
        for brace in re.findall(r"[{}]", css):
            depth += 1 if brace == "{" else -1
            assert depth >= 0, path.name
        assert depth == 0, path.name
