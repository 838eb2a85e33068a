"""The documents: commands that exist, pages that are current, links that lead there."""

import doctest
import importlib
import importlib.util
import pkgutil
import re
import shlex
import tomllib
from pathlib import Path

import pytest
import typer
from PIL import Image

import sitekit
from sitekit.cli.app import app
from sitekit.fruit import fruit_names
from sitekit.layers import CATALOGUE
from sitekit.pipeline import known_settings

CHECKOUT = Path(__file__).parents[1]
DOCS = CHECKOUT / "docs"
PAGES = [
    *(CHECKOUT / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")),
    CHECKOUT / "sample_rasters" / "README.md",
    *sorted(DOCS.rglob("*.md")),
]
COMMANDS = typer.main.get_command(app).commands
MODULES = sorted(m.name for m in pkgutil.walk_packages(sitekit.__path__, "sitekit."))


def read(path):
    return path.read_text(encoding="utf-8")


def named(path):
    return path.relative_to(CHECKOUT).as_posix()


def blocks_of_code(text):
    return re.findall(r"^```[a-z]*\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)


def commands_in(text):
    """Command lines of sitekit in the blocks of code of a page."""
    lines = [line for block in blocks_of_code(text) for line in block.splitlines()]
    for line in lines:
        part = re.split(r"&& |; ", line)[-1].split("#")[0].strip()
        part = part.replace(".venv\\Scripts\\", "").removeprefix(".venv/bin/")
        if part.startswith("sitekit "):
            yield shlex.split(part)[1:]


@pytest.fixture(scope="module")
def generator():
    spec = importlib.util.spec_from_file_location("generate", DOCS / "generate.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_readme_has_the_two_commands():
    text = read(CHECKOUT / "README.md")
    begin = "python3 -m venv .venv && .venv/bin/pip install -q -c constraints.txt"
    assert f"\n{begin} . && .venv/bin/sitekit demo\n" in text
    assert f"\n{begin} '.[test]' && .venv/bin/pytest\n" in text


def test_the_readme_has_the_commands_for_windows_too():
    text = read(CHECKOUT / "README.md")
    assert ".venv\\Scripts\\sitekit demo\n" in text
    assert "'.[test]'; .venv\\Scripts\\pytest\n" in text


def test_the_machine_check_takes_the_test_command_from_the_readme():
    script = read(CHECKOUT / ".ci" / "run")
    pattern = re.search(r"grep -m 1 -x '(.*)' README.md", script).group(1)
    found = re.search(f"^{pattern}$", read(CHECKOUT / "README.md"), re.MULTILINE)
    assert found.group().endswith(".venv/bin/pytest")
    assert "pytest" not in script.replace(pattern, "")


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_commands_of_a_page_exist_with_their_options(page):
    for words in commands_in(read(page)):
        name, *rest = words
        if name == "--version":
            continue
        assert name in COMMANDS, f"{page.name}: sitekit {name}"
        known = {o for p in COMMANDS[name].params for o in p.opts} | {"--help"}
        options = {w.split("=")[0] for w in rest if w.startswith("-")}
        assert options <= known, f"{page.name}: {' '.join(words)}"


def test_pages_that_should_name_commands_do():
    told = {words[0] for page in PAGES for words in commands_in(read(page))}
    assert {"demo", "new", "check", "survey"} <= told


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_help_with_an_example_and_stands_in_the_reference(name):
    command = COMMANDS[name]
    assert command.help
    assert command.epilog.startswith(f"Example: sitekit {name}")
    assert all(p.help for p in command.params if p.name != "help")
    assert f"## `sitekit {name}`" in read(DOCS / "reference" / "commands.md")


def test_the_readme_names_every_command():
    text = read(CHECKOUT / "README.md")
    assert [name for name in COMMANDS if f"sitekit {name}" not in text] == []


def test_generated_pages_are_current(generator):
    assert generator.lagging() == []


def test_a_page_that_lags_is_named(generator, tmp_path, monkeypatch):
    monkeypatch.setattr(generator, "FOLDER", tmp_path)
    generator.main([])
    assert generator.lagging() == []
    (tmp_path / "layers.md").write_text("old", encoding="utf-8")
    with pytest.raises(SystemExit, match=r"lags: layers\.md"):
        generator.main(["--check"])


def test_every_layer_setting_and_fruit_stands_in_its_page():
    for page, names in (
        ("layers", CATALOGUE),
        ("settings", known_settings()),
        ("fruit", fruit_names()),
    ):
        text = read(DOCS / "reference" / f"{page}.md")
        assert [n for n in names if f"`{n}`" not in text] == []


def anchors(text):
    """Names that the headings of a page can be reached by."""
    heads = re.findall(r"^#+ (.*)$", text, flags=re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", h).strip().lower().replace(" ", "-") for h in heads}


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_links_of_a_page_lead_to_something(page):
    links = re.findall(r"\]\(([^)\s]+)\)", read(page))
    for link in links:
        if link.startswith(("http://", "https://")):
            continue
        file, _, anchor = link.partition("#")
        target = (page.parent / file).resolve() if file else page
        assert target.exists(), f"{page.name}: {link}"
        if anchor:
            assert anchor in anchors(read(target)), f"{page.name}: {link}"


def test_every_page_can_be_reached_from_the_first():
    waiting, reached = [DOCS / "index.md"], set()
    while waiting:
        page = waiting.pop()
        if page in reached:
            continue
        reached.add(page)
        for link in re.findall(r"\]\(([^)#\s]+\.md)", read(page)):
            waiting.append((page.parent / link).resolve())
    assert set(DOCS.rglob("*.md")) <= reached


def test_files_that_pages_name_are_there():
    for page in PAGES:
        for name in re.findall(r"`((?:docs|tests|sitekit|\.ci)/[\w./-]+)`", read(page)):
            assert (CHECKOUT / name).exists(), f"{page.name}: {name}"


def test_settings_in_the_pages_are_settings():
    for page in DOCS.rglob("*.md"):
        for block in re.findall(r"```toml\n(.*?)```", read(page), flags=re.DOTALL):
            given = tomllib.loads(block).get("settings", {})
            assert set(given) <= set(known_settings()), page.name


def test_the_picture_is_a_small_file_with_a_palette():
    file = DOCS / "map.png"
    assert file.stat().st_size < 300_000
    with Image.open(file) as picture:
        assert picture.mode == "P"
        assert picture.width >= 1000


def test_the_page_for_engineers_is_short():
    assert len(read(CHECKOUT / "DEVELOPERS.md").splitlines()) <= 200


def test_the_versions_agree():
    project = tomllib.loads(read(CHECKOUT / "pyproject.toml"))["project"]
    assert f"\n## {project['version']} " in read(CHECKOUT / "CHANGELOG.md")


def test_the_licence_note_is_true():
    # richdem2 is GPL-3.0: it may be compared with in tests and never imported here.
    project = tomllib.loads(read(CHECKOUT / "pyproject.toml"))["project"]
    assert not [d for d in project["dependencies"] if "richdem" in d]
    assert [d for d in project["optional-dependencies"]["test"] if "richdem2" in d]
    for path in (CHECKOUT / "sitekit").rglob("*.py"):
        assert "import richdem" not in read(path), path.name


def examples_of(module):
    """Doctests of a module; compiled functions are looked into."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    yield from finder.find(module)
    for name, value in vars(module).items():
        function = getattr(value, "py_func", None)
        if function is not None and function.__module__ == module.__name__:
            yield from finder.find(function, name, globs=dict(vars(module)))


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_are_true(name):
    if name.endswith("__main__"):
        return  # importing it runs the command
    module = importlib.import_module(name)
    runner = doctest.DocTestRunner(verbose=False)
    for example in examples_of(module):
        runner.run(example)
    assert runner.summarize(verbose=False).failed == 0


def test_there_are_examples_in_docstrings():
    modules = [importlib.import_module(n) for n in MODULES if "__main__" not in n]
    counted = sum(len(t.examples) for m in modules for t in examples_of(m))
    assert counted > 60
