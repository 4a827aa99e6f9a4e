"""The house: which room may import which, who owns which engine, and how long things may be."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import ratemodel

ROOT = Path(ratemodel.__file__).parent
#: A room imports only rooms above it. A new room needs a line here.
ORDER = (
    "errors", "arrays", "units", "words", "writing", "showing", "shown",
    "records", "reduction", "screening",
    "models", "simulate", "simulate_logs",
    "inference",
    "rating", "event", "recorded", "length", "translation",
    "odds", "tolerance", "budget", "propagation", "dominance", "reliability", "shocks", "lives",
    "margin", "limits", "steps", "what_if",
    "planning", "comparing", "archive_data", "archive", "endurance", "analysis", "many",
    "answers", "demo",
    "charts", "panel", "report",
    "commands", "plan_command", "compare_command", "cli", "__main__",
)  # fmt: skip
#: Imports against the order, each made late, inside a function, for the reason given.
LATE_ON_PURPOSE = {
    ("showing", "report"): "a result shows itself in the words of the report",
}
OWNERS = {
    "matplotlib": {"charts"},
    "lmfit": {"inference"},
    "emcee": {"inference"},
    "argparse": {"cli", "commands", "plan_command", "compare_command"},
}
#: Files that read what a user gives belong to records; checkpoints are the program's own files.
READERS = {"records", "many"}
#: Modules that name a type of another room's engine and do nothing with the engine.
NAMES_A_TYPE = {("ratemodel.report.pictures", "matplotlib")}
LONGEST_FILE, LONGEST_FUNCTION, MOST_PARAMETERS = 300, 50, 6
NAMES_TOO_VAGUE = re.compile(r"^(utils?|helpers?|common|misc)$")
PATHS = sorted(p for p in ROOT.rglob("*.py") if "_demo" not in p.parts)


def name_of(path: Path) -> str:
    parts = (ROOT.name, *path.relative_to(ROOT).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


TREES = {name_of(p): ast.parse(p.read_text(encoding="utf-8")) for p in PATHS}


def room(module: str) -> str:
    return module.split(".")[1] if "." in module else "(front door)"


def for_types_only(tree: ast.AST) -> set[ast.AST]:
    blocks = [n for n in ast.walk(tree) if isinstance(n, ast.If)]
    guarded = [n for n in blocks if "TYPE_CHECKING" in ast.dump(n.test)]
    return {child for block in guarded for child in ast.walk(block)}


def imports(module: str) -> Iterator[tuple[str, bool]]:
    """Modules that a module imports when it runs, and whether inside a function."""
    tree = TREES[module]
    unseen = for_types_only(tree)
    top = {id(n) for n in tree.body}
    for node in ast.walk(tree):
        if node in unseen:
            continue
        if isinstance(node, ast.Import):
            yield from ((a.name, id(node) not in top) for a in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{module} imports relatively"
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield (inner if inner in TREES else node.module), id(node) not in top


def rooms_used() -> set[tuple[str, str, bool]]:
    return {
        (room(module), room(target), late)
        for module in TREES
        if module != "ratemodel"
        for target, late in imports(module)
        if target.startswith("ratemodel.") and room(target) != room(module)
    }


def test_every_room_has_its_place_in_the_order():
    rooms = {room(m) for m in TREES if m != "ratemodel"}
    assert rooms <= set(ORDER), f"no place in the order: {sorted(rooms - set(ORDER))}"


def test_a_room_imports_only_rooms_above_it():
    place = {name: i for i, name in enumerate(ORDER)}
    backward = [
        f"{a} imports {b}"
        for a, b, late in sorted(rooms_used())
        if place[b] > place[a] and not (late and (a, b) in LATE_ON_PURPOSE)
    ]
    assert not backward


def test_modules_import_each_other_in_no_circle():
    graph = {
        m: {
            t
            for t, late in imports(m)
            # a method of a result may call what is made of it, within its own room
            if t in TREES and t not in ("ratemodel", m) and not (late and room(t) == room(m))
        }
        for m in TREES
        if m != "ratemodel"
    }
    for a, b in LATE_ON_PURPOSE:
        for module in graph:
            if room(module) == a:
                graph[module] = {t for t in graph[module] if room(t) != b}
    # a package stands for what its __init__ imports; its own modules may use each other directly
    done: set[str] = set()
    path: list[str] = []

    def visit(module: str) -> None:
        assert module not in path, " -> ".join([*path[path.index(module) :], module])
        if module in done:
            return
        path.append(module)
        for target in sorted(graph[module]):
            visit(target)
        done.add(path.pop())

    for module in sorted(graph):
        visit(module)


@pytest.mark.parametrize("engine", OWNERS)
def test_an_engine_is_imported_by_its_room_alone(engine):
    users = {m for m in TREES for target, _ in imports(m) if target.split(".")[0] == engine}
    users = {m for m in users if (m, engine) not in NAMES_A_TYPE}
    assert {room(m) for m in users} <= OWNERS[engine]


def test_input_files_are_opened_by_their_room_alone():
    reading = {"open", "read_text", "read_bytes", "read_csv", "read_parquet", "read_excel"}
    found = set()
    for module, tree in TREES.items():
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            called = getattr(node.func, "id", getattr(node.func, "attr", ""))
            texts = [a.value for a in node.args if isinstance(a, ast.Constant)]
            writes = called == "open" and any(str(t).startswith(("w", "x", "a")) for t in texts)
            if called in reading and not writes and room(module) not in READERS:
                found.add(f"{module} line {node.lineno}")
    assert not found


@pytest.mark.parametrize("danger", ["pickle", "dill", "joblib", "shelve", "marshal"])
def test_nothing_reads_what_could_run_code(danger):
    assert not [m for m in TREES for t, _ in imports(m) if t.split(".")[0] == danger]


def test_nothing_evaluates_text():
    found = [
        f"{module} line {node.lineno}"
        for module, tree in TREES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and getattr(node.func, "id", "") in {"eval", "exec", "compile", "__import__"}
    ]
    assert not found


def test_files_are_short():
    lines = {p.name: len(p.read_text(encoding="utf-8").splitlines()) for p in PATHS}
    assert not {name: count for name, count in lines.items() if count >= LONGEST_FILE}


def functions() -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for module, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                yield f"{module}.{node.name}", node


def test_functions_are_short():
    long = {}
    for name, node in functions():
        first = node.body[0]
        documented = ast.get_docstring(node, clean=False) is not None
        text = (first.end_lineno or 0) - first.lineno + 1 if documented else 0
        lines = (node.end_lineno or 0) - node.lineno + 1 - text
        if lines >= LONGEST_FUNCTION:
            long[name] = lines
    assert not long


def test_functions_take_few_parameters():
    many = {}
    for name, node in functions():
        given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
        own = [a.arg for a in given if a.arg not in ("self", "cls")]
        if len(own) > MOST_PARAMETERS:
            many[name] = own
    assert not many


def test_no_file_has_a_name_that_says_nothing():
    assert not [m for m in TREES if NAMES_TOO_VAGUE.match(m.rsplit(".", 1)[-1])]
