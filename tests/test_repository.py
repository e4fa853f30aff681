"""The repository's outside: what the pages promise exists, and what must not be in a commit is not."""

import ast
import os
import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "src" / "dustcap"
README = (ROOT / "README.md").read_text(encoding="utf-8")
DECISIONS = sorted((ROOT / "docs" / "decisions").glob("*.md"))
LOCKS = ("requirements.txt", "requirements-test.txt")
BANNED_NAMES = {"utils.py", "helpers.py", "common.py", "misc.py"}


def committed():
    """Every file under version control that is text."""
    told = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout.decode()
    for name in filter(None, told.split("\0")):
        path = ROOT / name
        if path.is_file() and path != Path(__file__):
            raw = path.read_bytes()
            if b"\0" not in raw:
                yield name, raw.decode("utf-8")


def pinned(lock):
    """Name and version of every package in a lock."""
    lines = (ROOT / lock).read_text(encoding="utf-8").splitlines()
    found = [re.match(r"([\w.-]+)==([^ ;\\]+)", line) for line in lines if line and not line.startswith((" ", "#"))]
    return {(canonicalize_name(one[1]), one[2]) for one in found}


def wanted(*extras):
    """The requirements that pyproject.toml names."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    texts = [*project["dependencies"], *(text for extra in extras for text in project["optional-dependencies"][extra])]
    return [Requirement(text) for text in texts]


def test_the_readme_names_every_command_and_no_other():
    """The README's commands are those of the program."""
    from dustcap.cli.app import app

    known = {command.name for command in app.registered_commands}

    named = set(re.findall(r"(?:^\$ |`)dustcap ([a-z][a-z-]*)", README, re.M))

    assert named == known


def test_every_make_target_in_the_pages_exists():
    """A target that a page tells one to make is in the Makefile."""
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.M))
    pages = README + (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")

    named = set(re.findall(r"`make ([a-z]+)|^(?:\$ )?make ([a-z]+)", pages, re.M))

    assert {one or other for one, other in named} >= {"demo", "test"}
    assert {one or other for one, other in named} <= targets


def test_the_readme_begins_with_the_job_and_carries_the_cautions():
    """The first paragraph says what the program is for, and the page defers to codes and licensed people."""
    first = README.split("\n\n")[1]

    assert "loudspeakers" in first
    assert "local codes" in README
    assert "licensed person" in README


def test_no_file_names_a_machine_or_a_registry():
    """No committed text holds a path of one machine, a registry's address or a private key."""
    banned = re.compile(
        r"/work/|/root/|/home/[a-z]|/opt/(pypi|wheels)|pypi\.org|pythonhosted|npmjs\.|deb\.debian|PRIVATE KEY-----"
    )

    assert [name for name, text in committed() if banned.search(text)] == []


@pytest.mark.parametrize("lock", LOCKS)
def test_every_line_of_a_lock_is_a_pin_with_hashes(lock):
    """Locks hold pins and SHA-256 hashes and nothing else: no address, no option."""
    text = (ROOT / lock).read_text(encoding="utf-8").replace("\\\n", " ")
    line = re.compile(r"[\w.-]+==[\w.+!]+( ; [^;#]+?)?(\s+--hash=sha256:[0-9a-f]{64})+\s*")

    assert [row for row in text.splitlines() if not line.fullmatch(row)] == []


@pytest.mark.parametrize(("lock", "extras"), [(LOCKS[0], ("build", "fast")), (LOCKS[1], ("build", "fast", "test"))])
def test_a_lock_holds_what_the_project_asks_for(lock, extras):
    """Each requirement of pyproject.toml is pinned at a version that it allows."""
    pins = pinned(lock)

    missing = [
        str(need)
        for need in wanted(*extras)
        if not any(name == canonicalize_name(need.name) and need.specifier.contains(version) for name, version in pins)
    ]

    assert missing == [], "run: make lock"


def test_both_locks_agree():
    """What runs is what is tested."""
    assert pinned(LOCKS[0]) <= pinned(LOCKS[1])


def test_the_run_script_can_be_run():
    """The script that checks everything is executable and makes the tests."""
    script = ROOT / ".ci" / "run"

    assert os.access(script, os.X_OK)
    assert "make test" in script.read_text(encoding="utf-8")


@pytest.mark.parametrize("path", DECISIONS, ids=lambda path: path.stem)
def test_a_decision_says_why_what_and_what_follows(path):
    """Context, choice, consequences, in this order, on half a page."""
    text = path.read_text(encoding="utf-8")

    assert re.findall(r"^## (.+)$", text, re.M) == ["Context", "Choice", "Consequences"]
    assert len(text.splitlines()) <= 20


def test_there_are_decisions():
    """The folder of decisions is found."""
    assert len(DECISIONS) >= 5


def test_files_are_named_by_what_they_hold():
    """No file is a drawer for leftovers."""
    assert [str(path) for path in PACKAGE.rglob("*.py") if path.name in BANNED_NAMES] == []


def undocumented(tree):
    """Public functions, classes and methods of a file without a docstring; a property's name says it."""
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    for node in [child for child in tree.body if isinstance(child, kinds) and not child.name.startswith("_")]:
        inner = node.body if isinstance(node, ast.ClassDef) else []
        methods = [child for child in inner if isinstance(child, kinds) and not child.name.startswith("_")]
        methods = [child for child in methods if "property" not in map(ast.unparse, child.decorator_list)]
        yield from (one.name for one in [node, *methods] if not ast.get_docstring(one))


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_what_is_public_is_described(path):
    """Every file, public class, function and method has a docstring."""
    tree = ast.parse(path.read_text(encoding="utf-8"))

    assert ast.get_docstring(tree)
    assert list(undocumented(tree)) == []


def test_every_test_states_its_behaviour():
    """Every test has a docstring."""
    silent = [
        f"{path.name}: {node.name}"
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and not ast.get_docstring(node)
    ]

    assert silent == []


SOURCES = re.findall(r"^\| `([^`]+)` \|", (ROOT / "docs" / "sources.md").read_text(encoding="utf-8"), re.M)
STANDARD = re.compile(
    r"\b(?:IEC|ISO|ITU-R|AES|EBU|JCGM|NIST|MIL-HDBK|WCAG|IPC)[ -]?(?:Tech |TN |TR |TS |BS\.)?\d[\w.-]*\w"
)
REFERENCE = re.compile(r"\.\. \[\d+\] (.+?)(?=\n\s*\.\. \[|\n\s*\n|\"\"\"|\Z)", re.S)


def code():
    """Every Python and data file of the package and the tests, as name and text."""
    for folder in (PACKAGE, ROOT / "tests"):
        for path in sorted(folder.rglob("*")):
            if path.suffix in (".py", ".toml") and path != Path(__file__):
                yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")


def listed(words):
    """Whether a text names a source of docs/sources.md."""
    return any(key in words for key in SOURCES)


def test_every_standard_that_is_cited_is_listed():
    """A standard named in code or tests has a row in docs/sources.md."""
    cited = {(name, found) for name, text in code() for found in STANDARD.findall(text) if not listed(found)}

    assert sorted(cited) == []


def test_every_reference_of_a_docstring_is_listed():
    """Each entry under References names a source that has a row in docs/sources.md."""
    cited = [
        (name, " ".join(entry.split())[:60])
        for name, text in code()
        for entry in REFERENCE.findall(text)
        if not listed(" ".join(entry.split()))
    ]

    assert cited == []


def test_no_listed_source_is_idle():
    """Each row of docs/sources.md is named somewhere in the package or the tests, and stands there once."""
    everything = "\n".join(text for _, text in code())

    assert [key for key in SOURCES if key not in everything] == []
    assert len(set(SOURCES)) == len(SOURCES)
