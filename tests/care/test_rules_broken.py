"""Each rule broken once: the tables of signs notice every one of these faults.

The modules of the rules are read as text, one place is changed, and what stands in
`advice_table.py`, `test_rules.py` and `test_sizes.py` is asked of the broken copy.
"""

import ast
import sys
import types
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path

import pytest

from tests.care import test_rules, test_sizes
from tests.care.advice_table import ROWS, SCAB

CARE = Path(__file__).parents[2] / "flockcare" / "care"
# In the order in which they import each other.
MODULES = ("sizes", "rules.signs", "rules.levels", "rules.table", "rules.answer")
TREES = {name: ast.parse((CARE / f"{name.replace('.', '/')}.py").read_text()) for name in MODULES}
SWAPPED = {ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Lt: ast.LtE, ast.LtE: ast.Lt}
# What is the same on either side of the change, or is not of the rules.
SAME = {
    # The error of a reading is used where the records are read.
    "READING_ERROR_MM",
    # Errors are real numbers: that two differ by exactly the bound has no meaning.
    "beyond_error",
    "surely_not_smaller",
    # Without a reading there is no last one.
    "series",
}


class Rename(ast.NodeTransformer):
    """The copy imports its own modules."""

    def visit_ImportFrom(self, node):
        node.module = node.module.replace("flockcare.care", "broken")
        return node


def load(trees: dict[str, ast.Module]) -> types.SimpleNamespace:
    """The modules made of these trees, beside the real ones."""
    loaded = {"broken": types.ModuleType("broken"), "broken.rules": types.ModuleType("rules")}
    sys.modules.update(loaded)
    try:
        for name in MODULES:
            module = types.ModuleType(f"broken.{name}")
            sys.modules[module.__name__] = loaded[module.__name__] = module
            tree = ast.fix_missing_locations(Rename().visit(deepcopy(trees[name])))
            exec(compile(tree, name, "exec"), module.__dict__)  # noqa: S102
            *parent, last = module.__name__.split(".")
            setattr(sys.modules[".".join(parent)], last, module)
        rules = loaded["broken.rules"]
        return types.SimpleNamespace(
            sizes=loaded["broken.sizes"],
            RULES=rules.table.RULES,
            Situation=rules.signs.Situation,
            advise=rules.answer.advise,
        )
    finally:
        for name in loaded:
            del sys.modules[name]


def named(tree: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Each node with the name of the function, the class or the constant that it stands in."""
    for part in tree.body:
        name = getattr(part, "name", "")
        if isinstance(part, ast.Assign):
            name = ast.unparse(part.targets[0])
        for node in ast.walk(part):
            yield name, node


def places(module: str) -> Iterator[tuple[str, int, str]]:
    """What can be broken: a description, which node it is, and how."""
    for number, (name, node) in enumerate(named(TREES[module])):
        if name in SAME:
            continue
        where = f"{module} {name}: {ast.unparse(node)[:60]!r}"
        if isinstance(node, ast.Constant) and type(node.value) in (int, float):
            yield f"{where} more", number, "more"
            yield f"{where} less", number, "less"
        if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPPED:
            yield f"{where} swapped", number, "swapped"
        if isinstance(node, ast.Call) and ast.unparse(node.func) in ("every", "either"):
            for argument in range(len(node.args)):
                yield f"{where} without {argument}", number, f"without {argument}"
        if isinstance(node, ast.Call) and ast.unparse(node.func) in ("opposite", "signs.opposite"):
            yield f"{where} not opposite", number, "inner"
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "Rule":
            where = f"rule {node.args[0].value!r}"
            yield f"{where} never", number, "never"
            yield f"{where} one level up or down", number, "level"


LEVELS = ["LOOK", "LEAVE", "HOME", "ASK", "SOON", "NOW"]


def break_at(module: str, number: int, how: str) -> dict[str, ast.Module]:
    trees = {**TREES, module: deepcopy(TREES[module])}
    node = [node for _, node in named(trees[module])][number]
    if how in ("more", "less"):
        step = 1 if isinstance(node.value, int) else abs(node.value) / 5
        node.value += step if how == "more" else -step
    elif how == "swapped":
        node.ops = [SWAPPED[type(node.ops[0])]()]
    elif how.startswith("without"):
        del node.args[int(how.split()[1])]
    elif how == "inner":
        node.func = ast.parse("(lambda value: value)", mode="eval").body
    elif how == "never":
        node.args[7] = ast.parse("lambda seen: False", mode="eval").body
    elif how == "level":
        place = LEVELS.index(node.args[3].attr)
        node.args[3].attr = LEVELS[place + 1 if place < len(LEVELS) - 1 else place - 1]
    return trees


def keys(rules) -> set[str]:
    return {rule.key for rule in rules}


def situation(made, values: dict):
    """Of the classes of these modules."""
    copies = tuple(made.sizes.Size(**vars(size)) for size in values.get("sizes", ()))
    return made.Situation(**{**values, "sizes": copies})


def fault(made) -> str:
    """The first of the facts in the tables that does not hold of these modules; else empty."""
    for key, signs in test_rules.SIGNS.items():
        answer = made.advise(situation(made, {**SCAB, "grade": 2, **signs}))
        if answer.advice.name != test_rules.EXPECTED[key].name or key not in keys(answer.because):
            return key
    by_key = {rule.key: rule for rule in made.RULES}
    for key, *sides in test_rules.EDGES:
        for expected, signs in zip((False, True), sides, strict=True):
            seen = situation(made, {**SCAB, "grade": 2, **signs})
            if (by_key[key].holds(seen) is True) is not expected:
                return f"{key} {signs}"
    for row in ROWS:
        if made.advise(situation(made, row.values)).advice.name not in row.levels:
            return row.reason
    if test_rules.look_again_days(made.RULES) != test_rules.LOOK_AGAIN:
        return "days to the next check"
    hot = made.advise(made.Situation(hot=True, cold_or_dark=False))
    if "oozing" not in hot.unknown or "oozing" in keys(hot.calls_for_vet):
        return "what is not known of a hot foot"
    return fault_of_sizes(made.sizes)


def fault_of_sizes(sizes) -> str:
    for test in (
        test_sizes.test_the_course_of_the_whole_case,
        test_sizes.test_growing_is_against_the_reading_before_too,
        test_sizes.test_not_smaller_after_two_weeks,
        test_sizes.test_less_than_half_gone_after_four_weeks,
        test_sizes.test_healing_that_stands_still,
    ):
        (mark,) = test.pytestmark
        copy = types.FunctionType(test.__code__, {**test.__globals__, "sizes": sizes})
        for case in mark.args[1]:
            try:
                copy(*case)
            except AssertionError:
                return f"{test.__name__} {case}"
    return ""


def test_nothing_is_wrong_with_what_is_not_broken():
    assert fault(load(TREES)) == ""


@pytest.mark.parametrize("module", [name for name in MODULES if name != "rules.levels"])
def test_every_broken_rule_is_noticed(module):
    unnoticed = []
    tried = 0
    for where, number, how in places(module):
        tried += 1
        try:
            found = fault(load(break_at(module, number, how)))
        except (TypeError, ValueError, IndexError, ZeroDivisionError) as error:
            found = repr(error)
        if not found:
            unnoticed.append(where)
    assert tried >= {"sizes": 30, "rules.signs": 100, "rules.table": 90}.get(module, 0)
    assert unnoticed == []
