"""Conventions that reading would miss: frames meet, floats carry a unit, parameters are few."""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "posefuse"
SOURCES = sorted(PACKAGE.rglob("*.py"))
TRANSFORM = re.compile(r"^([a-z]+)_from_([a-z]+)$")


def _frames(node: ast.expr) -> tuple[str, str] | None:
    """(target, source) of an expression whose name tells them, ``inverse`` understood."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        inner = _frames(node.func.value) if node.func.attr == "inverse" else None
        return (inner[1], inner[0]) if inner else None
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.MatMult):
        left, right = _frames(node.left), _frames(node.right)
        return (left[0], right[1]) if left and right else None
    name = getattr(node, "attr", getattr(node, "id", ""))
    match = TRANSFORM.match(name)
    return (match[1], match[2]) if match else None


def _products_that_do_not_meet(tree: ast.AST) -> list[str]:
    faults = []
    for node in ast.walk(tree):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.MatMult):
            left, right = _frames(node.left), _frames(node.right)
            if left and right and left[1] != right[0]:
                faults.append(f"line {node.lineno}: {ast.unparse(node)}")
        if isinstance(node, ast.Assign) and len(node.targets) == 1:
            named, made = _frames(node.targets[0]), _frames(node.value)
            if named and made and named != made:
                faults.append(f"line {node.lineno}: {ast.unparse(node)}")
    return faults


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_frames_of_products_meet(path: Path) -> None:
    assert _products_that_do_not_meet(ast.parse(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "line",
    [
        "x = world_from_robot @ camera_from_tag",
        "world_from_camera = world_from_robot @ robot_from_tag",
        "tag_from_robot = robot_from_tag.inverse().inverse()",
    ],
)
def test_the_check_itself_catches(line: str) -> None:
    assert _products_that_do_not_meet(ast.parse(line))


UNITS = re.compile(
    r"_(m|px|rad|s|hz|kg|px2|m2|deg|electrons|grey|cells"
    r"|per_m|per_m2|per_s|per_s2|per_sqrt_m|per_sqrt_s|per_sqrt_rad"
    r"|std|cov|covs|rms|share|fractions?|factors?|rate|probability|ratio|coefficient|noise)$"
    r"|_per_|^correlation_"
    r"|^(bias|p95|mean|(expected_)?median|nees|nees_mean|nis|misfit|std|low|high|value|level|scale|ratio|rms)$"
)


def _floats_without_unit(tree: ast.AST) -> list[str]:
    """Public float fields of dataclasses whose name tells no unit.

    Statistics (``rms``, ``low``) are in the unit of the field that holds them.
    """
    return [
        f"{node.name}.{item.target.id}"
        for node in ast.walk(tree)
        if isinstance(node, ast.ClassDef) and node.decorator_list
        for item in node.body
        if isinstance(item, ast.AnnAssign)
        and isinstance(item.target, ast.Name)
        and ast.unparse(item.annotation).split(" | ")[0] == "float"
        and not item.target.id.startswith("_")
        and not UNITS.search(item.target.id)
    ]


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_public_floats_carry_a_unit(path: Path) -> None:
    assert _floats_without_unit(ast.parse(path.read_text(encoding="utf-8"))) == []


MOST_PARAMETERS = 12
MOST_OF_A_KERNEL = 8
"""Compiled functions take more numbers at once: arrays that belong together go in a named tuple."""


def _parameter_count(function: ast.FunctionDef) -> int:
    """How many parameters a caller has to know; ``self`` and ``cls`` are none."""
    given = function.args
    named = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    starred = [star for star in (given.vararg, given.kwarg) if star is not None]
    return len([one for one in named + starred if one.arg not in ("self", "cls")])


def _with_more_parameters(tree: ast.AST, most: int) -> list[str]:
    return [
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and _parameter_count(node) > most
    ]


def test_functions_have_few_parameters() -> None:
    large = {
        f"{path.relative_to(PACKAGE).as_posix()}: {name}"
        for path in SOURCES
        for name in _with_more_parameters(
            ast.parse(path.read_text(encoding="utf-8")),
            MOST_OF_A_KERNEL if path.parent.name == "compiled" else MOST_PARAMETERS,
        )
    }
    assert large == set()  # group arrays in a named tuple


@pytest.mark.parametrize(
    ("signature", "most"),
    [("a, b, c", 2), ("a, /, b, *, c", 2), ("a, *b, **c", 2), ("self, a, b, c", 2)],
)
def test_parameters_of_every_kind_count(signature: str, most: int) -> None:
    tree = ast.parse(f"def far({signature}): ...")
    assert _with_more_parameters(tree, most) == ["far"]
    assert _with_more_parameters(tree, most + 1) == []
