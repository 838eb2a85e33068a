"""The house: sizes, documents, the catalogue, and what no file may name."""

import ast
import statistics
from pathlib import Path

import pytest

import sitekit
from sitekit.fruit import fruit_names, read_fruit
from sitekit.layers import CATALOGUE
from sitekit.pipeline import known_settings

ROOT = Path(sitekit.__file__).parent
CHECKOUT = Path(__file__).parents[1]
MODULES = sorted(ROOT.rglob("*.py"))
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}


def functions(tree):
    return [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)]


def body_lines(function):
    body = function.body
    first = body[0]
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
        body = body[1:]
    return body[-1].end_lineno - body[0].lineno + 1 if body else 0


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_a_module_is_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_functions_are_short():
    lengths = sorted(body_lines(f) for tree in TREES.values() for f in functions(tree))
    assert statistics.median(lengths) <= 12
    assert lengths[int(0.9 * len(lengths))] <= 30


def test_everything_public_has_a_docstring():
    bare = [
        f"{path.name}: {node.name}"
        for path, tree in TREES.items()
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not ast.get_docstring(node)
    ]
    assert bare == []


def test_every_argument_and_result_is_typed():
    bare = [
        f"{path.name}: {function.name}"
        for path, tree in TREES.items()
        for function in functions(tree)
        if function.returns is None
        or any(
            a.annotation is None
            for a in [*function.args.args, *function.args.kwonlyargs]
            if a.arg not in ("self", "cls")
        )
    ]
    assert bare == []


def test_the_catalogue_holds_every_layer_of_the_source():
    # A layer whose module is not imported would be missing without a word.
    declared = {
        function.name
        for path, tree in TREES.items()
        if path.parent.name == "layers"
        for function in functions(tree)
        if any(
            isinstance(d, ast.Call) and getattr(d.func, "id", "") == "layer"
            for d in function.decorator_list
        )
    }
    made = {entry.function.__name__ for entry in CATALOGUE.values()}
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
    homes = {n for names in sitekit._HOMES.values() for n in names}
    assert homes == set(sitekit.__all__)


def test_a_name_that_is_not_public_is_told():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        sitekit.nothing  # noqa: B018 - looking it up is the test


def test_fruit_files_read_layers_that_are_made():
    for name in fruit_names():
        for factor in read_fruit(name).factors:
            assert factor.layer in CATALOGUE


def test_no_file_names_a_registry_or_a_path_of_a_machine():
    words = [
        "pyp" + "i.org",
        "python" + "hosted",
        "npm" + "js",
        "/wo" + "rk/",
        "/ro" + "ot/",
    ]
    kinds = {".py", ".md", ".toml", ".txt", ".js", ".css", ".html", ""}
    for path in CHECKOUT.rglob("*"):
        inside = path.relative_to(CHECKOUT).parts
        if (
            path.suffix not in kinds
            or not path.is_file()
            or (inside[0].startswith(".") and inside[0] != ".ci")
        ):
            continue
        if any(
            p.endswith((".egg-info", "__pycache__")) or p == "build" for p in inside
        ):
            continue
        text = path.read_text(encoding="utf-8", errors="ignore")
        assert not [w for w in words if w in text], path


def test_the_readme_names_the_two_commands():
    text = (CHECKOUT / "README.md").read_text(encoding="utf-8")
    assert (
        "python3 -m venv .venv && .venv/bin/pip install -q -c constraints.txt . "
        "&& .venv/bin/sitekit demo" in text
    )
    assert "'.[test]' && .venv/bin/pytest" in text
