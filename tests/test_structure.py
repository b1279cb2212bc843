"""Who may import whom. The table below is the rule; the code is parsed, not run.

Each failure names file:line and what was imported. An import inside a function or under
TYPE_CHECKING counts: it makes one part know another all the same. So does a module named in a
string (a table of commands loaded late), unless BY_NAME allows it.
"""

import ast
import re
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[1]
TREES = ("colour", "service", "demo_cards")

USE_CASES = {"colour", "service.domain", "service.use_cases"}
SIBLINGS = ("storage", "photos", "exchange", "paper", "web", "cli")

# A part may import itself and what stands here; a module belongs to the longest part that fits.
MAY_IMPORT = {
    "colour": set(),
    "service": set(),  # service/__init__.py
    "service.domain": {"colour"},
    "service.use_cases": {"colour", "service.domain"},
    # Options and environment as values; shared by whoever is told by them.
    "service.settings": {"service.domain"},
    # What a server shows to devices; made and read when it starts.
    "service.certificates": {"service.domain", "service.settings"},
    **{f"service.{sibling}": {*USE_CASES, "service.settings"} for sibling in SIBLINGS},
    "service.app": {
        *USE_CASES,
        "service.settings",
        "service.certificates",
        *(f"service.{sibling}" for sibling in SIBLINGS),
    },
    "demo_cards": {
        *USE_CASES,
        "service.settings",
        "service.app",
        *(f"service.{sibling}" for sibling in SIBLINGS),
    },
}
# The demo stands above the program, and its command is only found by name when it is asked for.
BY_NAME = {"service.app": {"demo_cards"}, "service.cli": {"demo_cards"}}

# Libraries, for the parts that are held to some. "later": inside a function only.
LIBRARIES = {
    "colour": {"numpy": "any", "scipy": "any", "skimage": "later", "colormath": "later"},
    "service.domain": {},
}
NOWHERE = ("scipy.stats",)  # half a second on whichever command first meets it
EMPTY_FILES = ("colour/__init__.py",)  # importing colour must cost nothing

MODULE_NAME = re.compile(r"(colour|service|demo_cards)(\.\w+)+(:\w+)?")


class Import(NamedTuple):
    place: str  # file:line
    importer: str
    module: str
    late: bool  # inside a function
    by_name: bool  # a string

    def __str__(self):
        return f"{self.place}: {self.importer} imports {self.module}"


def part_of(module, parts):
    """The longest named part that holds a module, or None."""
    holding = [part for part in parts if module == part or module.startswith(part + ".")]
    return max(holding, key=len, default=None)


def module_name(path, root):
    names = path.relative_to(root).with_suffix("").parts
    return ".".join(names[:-1] if names[-1] == "__init__" else names)


def imports_of(path, root, modules):
    """Every import of one file, and every project module it names in a string."""
    importer = module_name(path, root)
    package = importer if path.name == "__init__.py" else importer.rpartition(".")[0]
    docstrings = set()
    waiting = [(ast.parse(path.read_text(encoding="utf-8"), str(path)), False)]
    while waiting:
        node, late = waiting.pop()
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Module)):
            if node.body and isinstance(node.body[0], ast.Expr):
                docstrings.add(node.body[0].value)
            late = late or isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
        waiting.extend((child, late) for child in ast.iter_child_nodes(node))
        for module, by_name in _named(node, package, modules):
            if node not in docstrings:
                place = f"{path.relative_to(root)}:{node.lineno}"
                yield Import(place, importer, module, late, by_name)


def _named(node, package, modules):
    """What one node imports or names: (module, named in a string)."""
    if isinstance(node, ast.Import):
        for name in node.names:
            yield name.name, False
    elif isinstance(node, ast.ImportFrom):
        base = node.module or ""
        if node.level:
            above = package.split(".")[: len(package.split(".")) - node.level + 1]
            base = ".".join([*above, base] if base else above)
        for name in node.names:
            full = f"{base}.{name.name}"
            # `from scipy import stats` imports a module, `from numpy import array` a name.
            yield full if full in modules or full in NOWHERE else base, False
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        named = node.value.partition(":")[0]
        if named in modules and MODULE_NAME.fullmatch(node.value):
            yield named, True


def under_type_checking(path):
    """Lines that only a type checker reads: they cost nothing at run time."""
    lines = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            for inner in node.body:
                lines.update(range(inner.lineno, inner.end_lineno + 1))
    return lines


def sources(root):
    return [path for tree in TREES for path in sorted((root / tree).rglob("*.py"))]


def faults(root):
    """Every breach of the rules under ``root``, as lines to read."""
    paths = sources(root)
    modules = {module_name(path, root) for path in paths}
    modules |= {name.rpartition(".")[0] for name in modules} - {""}
    found = []
    for path in paths:
        only_types = under_type_checking(path)
        name = module_name(path, root)
        part = part_of(name, MAY_IMPORT)
        if part is None:
            found.append(f"{path.relative_to(root)}:1: {name} stands in no part of the table")
            continue
        for item in imports_of(path, root, modules):
            found.extend(fault(item, part, int(item.place.rpartition(":")[2]) in only_types))
    return found


def fault(item, part, only_types):
    top = item.module.partition(".")[0]
    if any(item.module == name or item.module.startswith(name + ".") for name in NOWHERE):
        yield f"{item}, which nothing may (see NOWHERE)"
    elif top in TREES:
        target = part_of(item.module, MAY_IMPORT)
        allowed = {part, *MAY_IMPORT[part], *(BY_NAME.get(part, ()) if item.by_name else ())}
        # The bare name of a package is its empty __init__.
        if target not in allowed and item.module != "service":
            yield f"{item}; {part} may import only {', '.join(sorted(allowed))}"
    elif part in LIBRARIES and top not in sys.stdlib_module_names:
        when = LIBRARIES[part].get(top)
        if when is None:
            allowed = ", ".join(sorted(LIBRARIES[part])) or "no library"
            yield f"{item}; {part} may import the standard library and {allowed}"
        elif when == "later" and not item.late and not only_types:
            yield f"{item} at once; {part} may import {top} only inside a function"


def test_everyone_imports_only_whom_the_table_allows():
    found = faults(ROOT)
    assert not found, "\n" + "\n".join(found)


@pytest.mark.parametrize("name", EMPTY_FILES)
def test_a_file_that_must_import_nothing_imports_nothing(name):
    tree = ast.parse((ROOT / name).read_text(encoding="utf-8"))
    found = [
        f"{name}:{node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(tree)
        if isinstance(node, (ast.Import, ast.ImportFrom, ast.Call))
    ]
    assert not found, "\n" + "\n".join(found)


# The rule itself is tried on small made-up trees, so that it is known to fail.
CASES = {
    "colour knows no service": ("colour/a.py", "import service.domain.b", "colour/a.py:1"),
    "colour takes no other library": ("colour/a.py", "\nimport PIL", "colour/a.py:2"),
    "colormath comes late": ("colour/a.py", "from colormath import x", "colour/a.py:1"),
    "scipy.stats by its name": ("colour/a.py", "def f():\n import scipy.stats", "colour/a.py:2"),
    "scipy.stats from scipy": ("service/web/a.py", "from scipy import stats", "a.py:1"),
    "a name out of scipy.stats": ("service/web/a.py", "from scipy.stats import t", "a.py:1"),
    "domain takes no library": ("service/domain/a.py", "import numpy", "service/domain/a.py:1"),
    "domain knows no use case": ("service/domain/b.py", "import service.use_cases.a", "b.py:1"),
    "siblings do not meet": ("service/web/a.py", "from service.storage import b", "web/a.py:1"),
    "nor inside a function": (
        "service/web/a.py",
        "def f():\n    from service.storage.b import g",
        "service/web/a.py:2",
    ),
    "nor by a dot": ("service/web/a.py", "from ..storage import b", "service/web/a.py:1"),
    "nor in a string": ("service/web/a.py", "X = 'service.storage.b:run'", "service/web/a.py:1"),
    "nor for types": (
        "service/web/a.py",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import service.storage.b",
        "service/web/a.py:3",
    ),
    "use cases know no storage": ("service/use_cases/a.py", "import service.storage.b", "a.py:1"),
    "only the demo is above app": ("service/web/a.py", "import service.app", "service/web/a.py:1"),
    "app does not import the demo": ("service/app.py", "import demo_cards.a", "service/app.py:1"),
    "a new part needs a place": ("service/extra/a.py", "import colour.b", "service/extra/a.py:1"),
}
ALLOWED = {
    "colour itself": ("colour/a.py", "from colour import b\nimport numpy.linalg"),
    "colormath late": ("colour/a.py", "def f():\n    from colormath import x"),
    "other scipy": ("colour/a.py", "from scipy import special\nfrom scipy.special import x"),
    "domain": ("service/domain/a.py", "import json\nfrom colour.b import x"),
    "web": ("service/web/a.py", "import fastapi\nfrom service.use_cases import a\nfrom . import b"),
    "app wires": ("service/app.py", "def f():\n    from service.storage.b import g"),
    "the demo by name": ("service/app.py", "X = 'demo_cards.a:demo'"),
    "the demo": ("demo_cards/a.py", "import service.app, service.storage.b"),
    "a docstring": ("service/web/a.py", "'service.storage.b'"),
}


@pytest.fixture
def tree(tmp_path):
    """A made-up project in which every module that the cases name exists."""

    def make(name, text):
        for other in (
            "colour/b.py",
            "service/domain/b.py",
            "service/use_cases/a.py",
            "service/storage/b.py",
            "service/web/b.py",
            "service/app.py",
            "demo_cards/a.py",
        ):
            (tmp_path / other).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / other).touch()
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path

    return make


@pytest.mark.parametrize(("name", "text", "place"), CASES.values(), ids=CASES)
def test_a_breach_is_found_and_placed(tree, name, text, place):
    found = faults(tree(name, text))
    assert len(found) == 1
    assert place in found[0]


@pytest.mark.parametrize(("name", "text"), ALLOWED.values(), ids=ALLOWED)
def test_what_the_table_allows_passes(tree, name, text):
    assert faults(tree(name, text)) == []


def test_folders_that_do_not_exist_yet_are_no_fault(tmp_path):
    assert faults(tmp_path) == []
