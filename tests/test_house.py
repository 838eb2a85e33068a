"""The house: sizes, documents, the catalogue, the fruit, and what no file may name."""

import ast
import io
import statistics
import tokenize
from pathlib import Path

import pytest

import sitekit
from sitekit.fruit import fruit_names, read_fruit
from sitekit.layers import CATALOGUE
from sitekit.pipeline import known_settings

CHECKOUT = Path(__file__).parents[1]
ROOT = CHECKOUT / "sitekit"
MODULES = sorted(ROOT.rglob("*.py"))
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}
TESTS = sorted((CHECKOUT / "tests").glob("*.py"))
DOCUMENTED = (ast.FunctionDef, ast.ClassDef, ast.Module)


def functions(tree):
    return [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]


def body_lines(function):
    body = function.body
    first = body[0]
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
        body = body[1:]
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


def code_lines(path):
    """Count lines that are neither blank, nor comment, nor docstring."""
    text = path.read_text(encoding="utf-8")
    silent = {
        tokenize.COMMENT,
        tokenize.NL,
        tokenize.NEWLINE,
        tokenize.INDENT,
        tokenize.DEDENT,
        tokenize.ENDMARKER,
    }
    lines = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in silent:
            lines.update(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, DOCUMENTED) and ast.get_docstring(node):
            quoted = node.body[0]
            lines.difference_update(range(quoted.lineno, quoted.end_lineno + 1))
    return len(lines)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_a_module_is_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_functions_are_short():
    lengths = sorted(body_lines(f) for tree in TREES.values() for f in functions(tree))
    assert statistics.median(lengths) <= 12
    assert lengths[int(0.9 * len(lengths))] <= 30


def test_the_tests_are_at_least_as_long_as_the_code():
    code = sum(code_lines(path) for path in MODULES)
    tests = sum(code_lines(path) for path in TESTS)
    assert tests >= code, f"{tests} lines of tests for {code} lines of code"


def public(body, name):
    """Public functions, classes and methods below a node, with what holds them."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            if node.name.startswith("_"):
                continue
            yield f"{name}: {node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from public(node.body, f"{name}: {node.name}")


def test_everything_public_has_a_docstring():
    bare = [
        where
        for path, tree in TREES.items()
        for where, node in public(tree.body, path.name)
        if not ast.get_docstring(node)
    ]
    assert bare == []


def test_every_module_says_what_it_is():
    assert [p.name for p, tree in TREES.items() if not ast.get_docstring(tree)] == []


def test_every_argument_and_result_is_typed():
    bare = [
        f"{path.name}: {function.name}"
        for path, tree in TREES.items()
        for function in functions(tree)
        if function.returns is None
        or any(
            a.annotation is None
            for a in [
                *function.args.posonlyargs,
                *function.args.args,
                *function.args.kwonlyargs,
                *filter(None, [function.args.vararg, function.args.kwarg]),
            ]
            if a.arg not in ("self", "cls")
        )
    ]
    assert bare == []


def test_the_catalogue_holds_every_layer_of_the_source():
    # A layer whose module is not imported would be missing without a word.
    declared = {
        function.name
        for path, tree in TREES.items()
        for function in functions(tree)
        if any(
            isinstance(d, ast.Call) and getattr(d.func, "id", "") == "layer"
            for d in function.decorator_list
        )
    }
    made = {entry.function.__name__ for entry in CATALOGUE.values()}
    assert len(declared) > 30
    assert declared == made


@pytest.mark.parametrize("name", sorted(CATALOGUE))
def test_every_layer_says_what_it_is_and_where_it_comes_from(name):
    entry = CATALOGUE[name]
    assert entry.units
    assert entry.long_name
    assert entry.reference


def test_every_setting_says_what_it_does_and_where_its_default_comes_from():
    for name, (_, setting) in known_settings().items():
        assert setting.units, name
        assert setting.text.endswith((".", "south")), name
        assert setting.source, name


def test_the_public_names_are_few_and_all_there():
    assert len(sitekit.__all__) <= 25
    for name in sitekit.__all__:
        assert getattr(sitekit, name) is not None


def test_public_names_are_imported_from_where_the_type_checker_sees_them():
    [block] = [n for n in TREES[ROOT / "__init__.py"].body if isinstance(n, ast.If)]
    seen = {
        node.module.removeprefix("sitekit."): {alias.name for alias in node.names}
        for node in block.body
        if isinstance(node, ast.ImportFrom)
    }
    homes = {module: set(names) for module, names in sitekit._HOMES.items()}
    assert homes == seen
    assert set().union(*homes.values()) == set(sitekit.__all__)


def test_a_name_that_is_not_public_is_told():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        sitekit.nothing  # noqa: B018 - looking it up is the test


def test_fruit_files_read_layers_that_are_made():
    for name in fruit_names():
        for factor in read_fruit(name).factors:
            assert factor.layer in CATALOGUE


def tracked_files():
    """Text files of the checkout, without what tools and builds leave behind."""
    kinds = {".py", ".md", ".toml", ".txt", ".js", ".css", ".html", ".geojson", ""}
    left = (".egg-info", "__pycache__")
    for path in CHECKOUT.rglob("*"):
        inside = path.relative_to(CHECKOUT).parts
        if not path.is_file() or path.suffix not in kinds:
            continue
        if inside[0].startswith(".") and inside[0] not in (".ci", ".gitignore"):
            continue
        if inside[0] in ("build", "dist", "sitekit-demo"):
            continue
        if not any(part.endswith(left) for part in inside):
            yield path


def test_no_file_names_a_registry_or_a_path_of_a_machine():
    # Written in two halves, so that this file does not name them either.
    words = [
        "pyp" + "i.org",
        "python" + "hosted",
        "npm" + "js",
        "/wo" + "rk/",
        "/ro" + "ot/",
        "/op" + "t/",
        "/tm" + "p/",
        "file:" + "//",
    ]
    files = list(tracked_files())
    assert len(files) > 150
    named = [
        f"{path.relative_to(CHECKOUT)}: {word}"
        for path in files
        for word in words
        if word in path.read_text(encoding="utf-8", errors="ignore")
    ]
    assert named == []


def test_the_constraints_pin_packages_and_name_no_place():
    lines = (CHECKOUT / "constraints.txt").read_text(encoding="utf-8").split()
    assert len(lines) > 50
    assert all(line.count("==") == 1 and "/" not in line for line in lines)
