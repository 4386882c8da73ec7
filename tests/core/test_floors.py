"""Imports, addresses and templates go down only: each app may use itself and those below it."""

import ast
import re
from pathlib import Path

import pytest
from django.urls import URLPattern

from flockcare.urls import urlpatterns

ROOT = Path(__file__).resolve().parents[2]
PACKAGE, TEMPLATES = ROOT / "flockcare", ROOT / "templates"
# Apps on one floor do not use each other.
FLOORS = [
    {"core"},
    {"people"},
    {"birds"},
    {"photos"},
    {"feet", "housing"},
    {"care"},
    {"trends", "pages"},
    {"exchange", "vetsheet", "backup", "offline", "reminders"},
    {"running", "demo"},
]
PURE = {"analysis", "drawing"}
HEIGHT = {app: height for height, floor in enumerate(FLOORS) for app in floor}
NOT_PURE = {"django", "flockcare", "PIL", "time", "pathlib", "os", "io"}


def allowed(app: str) -> set[str]:
    if app in PURE:
        return {app}
    below = {other for other, height in HEIGHT.items() if height < HEIGHT[app]}
    return {app} | below | PURE


def sources(app: str):
    return [path for path in (PACKAGE / app).rglob("*.py") if "migrations" not in path.parts]


def imported(tree: ast.AST, package: tuple[str, ...] = ()) -> set[str]:
    """Full names of everything imported, also inside functions and relative to ``package``."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            parents = package[: len(package) - node.level + 1] if node.level else ()
            module = ".".join([*parents, *([node.module] if node.module else [])])
            names |= {f"{module}.{alias.name}" for alias in node.names}
    return names


def package_of(path: Path) -> tuple[str, ...]:
    return path.relative_to(PACKAGE.parent).parent.parts


def named_in_strings(tree: ast.AST) -> set[str]:
    """Apps named in strings such as "birds.Bird", as foreign keys and get_model take them."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            match = re.fullmatch(r"(\w+)\.[A-Z]\w+", node.value)
            if match and match[1] in HEIGHT:
                found.add(match[1])
    return found


def apps_used(path: Path) -> set[str]:
    tree = ast.parse(path.read_text())
    names = {
        name.split(".")[1]
        for name in imported(tree, package_of(path))
        if name.startswith("flockcare.")
    }
    return (names & (set(HEIGHT) | PURE)) | named_in_strings(tree)


@pytest.mark.parametrize("app", sorted(set(HEIGHT) | PURE))
def test_imports_go_down_only(app):
    for path in sources(app):
        assert apps_used(path) <= allowed(app), path


def test_every_app_stands_on_a_floor():
    apps = {path.name for path in PACKAGE.iterdir() if path.is_dir() and path.name[0] != "_"}
    assert apps <= set(HEIGHT) | PURE


# Addresses and templates. What has no app's name (flockcare/urls.py, the templates beside
# base.html) belongs to the project: a few pages and the navigation, which all apps share.

PROJECT_PAGES = {
    *("today", "birds", "bird", "pick", "check_bird", "export", "import", "calendar_feed"),
    *("recent_changes", "record_history"),
    *("move_check", "move_step", "move_photo", "series", "sources"),
    *("set_up_phone", "certificate"),
}
PROJECT_TEMPLATES = {
    *("base.html", "more.html", "flocks.html", "bird_places.html", "first_steps.html"),
    *("move_record.html", "house_answers.html", "today_answer.html", "withhold_eggs.html"),
    *("400.html", "403.html", "403_csrf.html", "404.html", "500.html", "507.html"),
}
ADDRESS = re.compile(r"""["'](\w+):(\w+)["']""")
TEMPLATE = re.compile(r"""["'](\w+)/[\w./]+\.(?:html|svg|txt)["']""")


def namespaces() -> dict[str, str]:
    """Of each namespace of addresses the app that has it."""
    return {
        match[1]: path.relative_to(PACKAGE).parts[0]
        for path in PACKAGE.rglob("urls.py")
        if (match := re.search(r'^app_name = "(\w+)"$', path.read_text(), re.MULTILINE))
    }


def apps_named(text: str) -> set[str]:
    """Apps whose addresses or templates are named in a piece of Python or of a template."""
    owner = namespaces()
    addressed = {owner[match[1]] for match in ADDRESS.finditer(text) if match[1] in owner}
    return addressed | {match[1] for match in TEMPLATE.finditer(text) if match[1] in HEIGHT}


@pytest.mark.parametrize("app", sorted(HEIGHT))
def test_addresses_and_templates_go_down_only(app):
    wrong = {
        str(path.relative_to(ROOT)): sorted(above)
        for path in [*sources(app), *(TEMPLATES / app).rglob("*")]
        if path.is_file() and (above := apps_named(path.read_text()) - allowed(app))
    }
    assert wrong == {}


def test_what_belongs_to_no_app_stays_little():
    named = {pattern.name for pattern in urlpatterns if isinstance(pattern, URLPattern)}
    assert named == PROJECT_PAGES
    assert {path.name for path in TEMPLATES.iterdir() if path.is_file()} == PROJECT_TEMPLATES


def test_the_reader_of_addresses_sees_python_and_templates():
    assert apps_named("""redirect("care:list", 1); reverse('feet:sort')""") == {"care", "feet"}
    assert apps_named("""{% url 'trends:page' flock.pk %}""") == {"trends"}
    assert apps_named("""{% include "photos/pane.html" with a='b:c' %}""") == {"photos"}
    assert apps_named("""{% url 'today' flock.pk %} render(request, "more.html")""") == set()


@pytest.mark.parametrize("app", sorted(PURE))
def test_the_pure_floor_knows_no_framework_clock_or_file(app):
    for path in sources(app):
        tree = ast.parse(path.read_text())
        for name in imported(tree, package_of(path)):
            top = name.split(".")[0]
            assert top not in NOT_PURE or name.startswith(f"flockcare.{app}"), (path, name)
        called = {
            node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            for node in ast.walk(tree)
            if isinstance(node, ast.Call)
        }
        assert not called & {"print", "open", "now", "today"}, path


def test_the_reader_of_imports_sees_every_form():
    tree = ast.parse(
        "import flockcare.care.models\n"
        "def f():\n    from flockcare.trends import x\n"
        "from ..photos import scale\n"
        'key = "feet.Check"\n'
    )
    assert imported(tree, ("flockcare", "feet")) == {
        "flockcare.care.models",
        "flockcare.trends.x",
        "flockcare.photos.scale",
    }
    assert named_in_strings(tree) == {"feet"}
