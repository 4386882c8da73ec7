"""Imports go down only: each app may use those below it, whatever the form of the import."""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "flockcare"
# Apps on one floor do not use each other.
FLOORS = [
    {"core"},
    {"people"},
    {"birds"},
    {"photos"},
    {"feet", "housing"},
    {"care"},
    {"trends"},
    {"exchange", "vetsheet", "backup", "offline"},
    {"demo"},
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
