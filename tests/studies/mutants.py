"""Mutation check of the core: how many small faults do the tests notice?

    pip install '.[tests,studies]'
    python tests/studies/mutants.py --mutants 200 --seed 1 [--jobs 2] [--keep FOLDER]

Cosmic Ray makes the mutants: a changed number, operator, comparison, sign, ``not``, ``and`` or
``or``, a loop that does not run. Places are drawn at random with a fixed seed from ``models``,
``inference`` and the rooms that take a strength to its use, each with one of its changes. The
suite is run once under coverage, to learn which test passes which line; a mutant is then given to
the tests that pass its line, to those that share a fixture that does, and to their neighbours in
the same files: the pinned numbers first, then those that pass most of the mutated file in least
time, up to ``--budget`` seconds and ``--tests`` of them. What more tests would kill is not
counted. It is killed when a test fails or when the run takes many times as long as it should.
Survivors are listed with their line, to be looked at: a mutant that changes nothing anyone can
see is not a fault of the tests.

Left out, because they say nothing of the tests: annotations, the texts of errors, decorators,
``strict`` of ``zip``, the order of words (``kind < "fall"`` for ``kind == "fall"``), and operators
that Python refuses for real numbers (a shift of a float dies whatever the tests are).
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import json
import multiprocessing
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

# loaded once, before the forks; nothing of the package itself
import coverage
import hypothesis  # noqa: F401
import lmfit  # noqa: F401
import pandas as pd
import pytest
import scipy.stats  # noqa: F401
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.plugins import get_operator, operator_names

ROOT = Path(__file__).resolve().parents[2]
USE = ("rating", "recorded", "length", "translation", "odds", "tolerance", "budget", "propagation",
       "dominance", "reliability", "shocks", "lives", "margin", "limits", "steps")  # fmt: skip
#: Tests that start other processes or browsers: coverage does not see what they pass.
OUTSIDE = ("tests/test_notebooks.py", "tests/test_jupyter_browser.py", "tests/test_readme.py")
ARITHMETIC = {"Add", "Sub", "Mul", "Div", "Pow", "Mod", "FloorDiv"}
ORDER = {"Eq", "NotEq", "Lt", "LtE", "Gt", "GtE"}
MESSAGES = {"Problem", "InputError", "Parameter", "NotIdentifiedError", "ConvergenceError"}


@dataclass(frozen=True)
class Mutant:
    """One change: which operator of Cosmic Ray, which of its places in a file, and where."""

    file: str
    operator: str
    occurrence: int
    line: int
    column: int


def sensible(name: str) -> bool:
    """Whether an operator makes changes that code about real numbers could survive."""
    kind = name.removeprefix("core/")
    for family, members in (("ReplaceBinaryOperator_", ARITHMETIC),
                            ("ReplaceComparisonOperator_", ORDER)):  # fmt: skip
        if kind.startswith(family):
            old, new = kind.removeprefix(family).split("_")
            pairs = {("BitAnd", "BitOr"), ("BitOr", "BitAnd"), ("Is", "IsNot"), ("IsNot", "Is")}
            return (old in members and new in members) or (old, new) in pairs
    return kind in {
        "NumberReplacer", "AddNot", "ReplaceAndWithOr", "ReplaceOrWithAnd", "ReplaceFalseWithTrue",
        "ReplaceTrueWithFalse", "ReplaceUnaryOperator_Delete_Not", "ZeroIterationForLoop",
        "ReplaceUnaryOperator_Delete_USub", "ReplaceUnaryOperator_Delete_Invert",
        "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ExceptionReplacer",
    }  # fmt: skip


def hidden(tree: ast.Module) -> list[ast.AST]:
    """Parts whose change nothing could notice: annotations, imports for types, error texts."""
    parts: list[ast.AST | None] = []
    for node in ast.walk(tree):
        parts += getattr(node, "decorator_list", [])
        if isinstance(node, ast.AnnAssign):
            parts.append(node.annotation)
        elif isinstance(node, ast.FunctionDef):
            parts += [a.annotation for a in ast.walk(node.args) if isinstance(a, ast.arg)]
            parts.append(node.returns)
        elif (
            (isinstance(node, ast.keyword) and node.arg == "strict")
            or (isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test))
            or (isinstance(node, ast.Call) and getattr(node.func, "id", "") in MESSAGES)
        ):
            parts.append(node)
    return [p for p in parts if p is not None]


def of_words(tree: ast.Module) -> list[ast.AST]:
    """Comparisons with a word, of which only equality means anything."""
    return [
        n for n in ast.walk(tree) if isinstance(n, ast.Compare)
        and any(isinstance(c, ast.Constant) and isinstance(c.value, str) for c in n.comparators)
    ]  # fmt: skip


def within(node: ast.AST, line: int, column: int) -> bool:
    spot = (line, column)
    return (node.lineno, node.col_offset) <= spot < (node.end_lineno, node.end_col_offset)  # type: ignore[attr-defined]


def places(file: str, text: str) -> dict[tuple[int, int], list[Mutant]]:
    """All changes a file offers, by place."""
    tree = ast.parse(text)
    covered, words = hidden(tree), of_words(tree)
    nodes, rows = list(ast_nodes(get_ast(text))), text.splitlines()
    found: dict[tuple[int, int], list[Mutant]] = {}
    for name in sorted(filter(sensible, operator_names())):
        operator = get_operator(name)()
        spots = [p for node in nodes for p in operator.mutation_positions(node)]
        for i, ((line, column), _) in enumerate(spots):
            marker = rows[line - 1][column : column + 2] in ("*,", "/,", "/)")  # of parameters
            ordered = name.startswith("core/ReplaceComparison") and not name.endswith("Eq_NotEq")
            ordered &= not name.endswith("NotEq_Eq")
            if ordered and any(within(word, line, column) for word in words):
                continue
            if not marker and not any(within(part, line, column) for part in covered):
                mutant = Mutant(file, name, i, line, column)
                found.setdefault((line, column), []).append(mutant)
    return found


def core() -> list[str]:
    rooms = [
        *(ROOT / "ratemodel/models").glob("*.py"),
        *(ROOT / "ratemodel/inference").glob("*.py"),
    ]
    return sorted(str(p.relative_to(ROOT)) for p in rooms) + [f"ratemodel/{n}.py" for n in USE]


def drawn(count: int, seed: int) -> list[Mutant]:
    """Places at random, each with one of its changes."""
    every = [m for f in core() for m in places(f, (ROOT / f).read_text("utf-8")).values()]
    print(f"{len(every)} places in {len(core())} files", flush=True)
    pick = random.Random(seed)
    some = [pick.choice(changes) for changes in pick.sample(every, min(count, len(every)))]
    return [m for m in some if makes(m)]


def makes(mutant: Mutant) -> bool:
    """Whether Cosmic Ray makes this change (it stumbles over some signs before a bracket)."""
    text = (ROOT / mutant.file).read_text("utf-8")
    try:
        return mutate_code(text, get_operator(mutant.operator)(), mutant.occurrence) != text
    except AttributeError:
        return False


class Times:
    """Pytest plugin: seconds of every test, its setup with it, and who shares whose fixtures."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self.uses: dict[str, list[str]] = {}  # a test and the fixtures it uses
        self.makes: dict[str, list[str]] = {}  # a test and the fixtures made for it first
        self.now = ""

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        self.now = item.nodeid
        info = getattr(item, "_fixtureinfo", None)
        found = [d for defs in info.name2fixturedefs.values() for d in defs] if info else []
        self.uses[item.nodeid] = [f"{d.baseid}::{d.argname}" for d in found]

    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef[object]) -> None:
        name = f"{fixturedef.baseid}::{fixturedef.argname}"
        self.makes.setdefault(self.now, []).append(name)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration


def inside(project: Path, arguments: Sequence[str], told: Path, plugin: object = None) -> int:
    """Run pytest in this process, in the project."""
    with told.open("w", encoding="utf-8") as file:
        os.dup2(file.fileno(), 1)
        os.dup2(file.fileno(), 2)
    os.chdir(project)
    sys.path.insert(0, str(project))
    os.environ.setdefault("RATEMODEL_REFERENCE_DATA", str(ROOT.parent / "shared" / "reference"))
    sys.dont_write_bytecode = True
    if "ratemodel" in sys.modules:
        raise RuntimeError("the package was loaded before its mutant was made")
    quiet = ["-q", "-p", "no:cacheprovider", "--tb=line", "-W",
             "ignore::pytest.PytestAssertRewriteWarning"]  # fmt: skip
    return int(pytest.main([*quiet, *arguments], plugins=[plugin] if plugin else []))


def forked(work: Callable[[], int], limit_s: float) -> int | None:
    """Exit code of a call in a fork of its own group, None when it took too long."""
    child = os.fork()
    if child == 0:
        os.setsid()
        code = 1
        with contextlib.suppress(SystemExit):
            code = work()
        os._exit(code)
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


@contextlib.contextmanager
def copied() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        project = Path(folder) / "project"
        leave = shutil.ignore_patterns(".git", ".venv")
        shutil.copytree(ROOT, project, ignore=leave)
        yield project


def learn(keep: Path) -> None:
    """Run the suite once under coverage; write which test passes which line, and its seconds."""

    def work() -> int:
        cover = coverage.Coverage(data_file=str(keep / "cover"), source=["ratemodel"])
        times = Times()
        asked = ["--cov=ratemodel", "--cov-context=test", "--cov-report="]
        os.environ["COVERAGE_FILE"] = str(keep / "cover")
        code = inside(project, [*asked, *(f"--ignore={t}" for t in OUTSIDE)], keep / "suite", times)
        users: dict[str, list[str]] = {}
        for test, names in times.uses.items():
            for name in names:
                users.setdefault(name, []).append(test)
        shared = {t: sorted({u for n in names for u in users.get(n, [])} - {t})
                  for t, names in times.makes.items()}  # fmt: skip
        (keep / "tests.json").write_text(json.dumps({"seconds": times.seconds, "shared": shared}))
        data = cover.get_data()
        data.read()
        lines = {}
        for file in core():
            by_line = data.contexts_by_lineno(str(project / file))
            lines[file] = {k: sorted({c.split("|")[0] for c in v if c}) for k, v in by_line.items()}
        (keep / "lines.json").write_text(json.dumps(lines))
        return code

    with copied() as project:
        code = forked(work, 3600)
    if code != 0:
        sys.exit(f"the suite fails without any mutant: see {keep / 'suite'}")


class Names:
    """Pytest plugin: what was collected."""

    def __init__(self) -> None:
        self.names: list[str] = []

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        self.names = [item.nodeid for item in items]


def check_names(keep: Path) -> None:
    """A test that is there no longer would count as one that fails."""
    told = keep / "names.json"

    def work() -> int:
        names = Names()
        code = inside(project, ["--collect-only"], keep / "collected", names)
        told.write_text(json.dumps(names.names))
        return code

    with copied() as project:
        if forked(work, 600) != 0:
            sys.exit(f"the tests cannot be collected: see {keep / 'collected'}")
    learned = json.loads((keep / "tests.json").read_text())["seconds"]
    gone = sorted(set(learned) - set(json.loads(told.read_text())))
    if gone:
        sys.exit(f"{len(gone)} tests are gone, as {gone[0]}: remove {keep} to learn anew")


def statement(file: str, line: int, column: int) -> range:
    """Lines of the smallest statement at a place, of a compound one its head."""
    tree = ast.parse((ROOT / file).read_text("utf-8"))
    around = [n for n in ast.walk(tree) if isinstance(n, ast.stmt) and within(n, line, column)]
    node = min(around, key=lambda n: (n.end_lineno or 0) - n.lineno)
    body = getattr(node, "body", None)
    return range(node.lineno, max(body[0].lineno if body else (node.end_lineno or 0) + 1,
                                  node.lineno + 1))  # fmt: skip


def asked(keep: Path, mutant: Mutant, budget_s: float, most: int) -> tuple[list[str], float]:
    """The tests to ask about a mutant, likeliest and quickest first, and their seconds."""
    learned = json.loads((keep / "tests.json").read_text())
    seconds: dict[str, float] = learned["seconds"]
    lines = json.loads((keep / "lines.json").read_text())[mutant.file]
    told = {t for i in statement(mutant.file, mutant.line, mutant.column)
            for t in lines.get(str(i), [])}  # fmt: skip
    if not told:  # run at import: every test that comes into the file
        told = {t for here in lines.values() for t in here}
    near = {t for first in told for t in learned["shared"].get(first, [])}
    files = {t.split("::")[0] for t in told}
    beside = {t for t in seconds if t.split("::")[0] in files}
    wide = Counter(t for here in lines.values() for t in here)

    def order(test: str) -> tuple[bool, float, str]:
        return "pinned" not in test, -wide[test] / (seconds[test] + 0.3), test

    chosen: list[str] = []
    total = 0.0
    for group in (told, near - told, beside - near - told):
        for test in sorted(group & set(seconds), key=order):
            if len(chosen) == most or (chosen and total + seconds[test] > budget_s):
                break
            chosen.append(test)
            total += seconds[test]
    return chosen, total


def attempt(mutant: Mutant, keep: Path, budget_s: float, most: int) -> dict[str, object]:
    """Run the tests against one mutant in a copy of the project."""
    tests, seconds = asked(keep, mutant, budget_s, most)
    sound = (ROOT / mutant.file).read_text("utf-8")
    now = mutate_code(sound, get_operator(mutant.operator)(), mutant.occurrence)
    pairs = zip(sound.splitlines(), now.splitlines(), strict=True)
    became = next(b.strip() for a, b in pairs if a != b)
    start, how = time.monotonic(), "no test passes here"
    dead = False
    if tests:
        with copied() as project:
            (project / mutant.file).write_text(now, encoding="utf-8")
            told = project / "told"
            code = forked(lambda: inside(project, ["-x", *tests], told), 60 + 5 * seconds)
            dead, how = code != 0, "time" if code is None else "passed"
            if dead and code is not None:
                out = [
                    x for x in told.read_text().splitlines() if x.startswith(("FAILED", "ERROR"))
                ]
                how = out[0] if out else told.read_text()[-200:]
    return {
        "file": mutant.file, "line": mutant.line, "operator": mutant.operator.removeprefix("core/"),
        "was": sound.splitlines()[mutant.line - 1].strip(), "became": became, "killed": dead,
        "how": how, "tests": len(tests), "seconds": round(time.monotonic() - start, 1),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutants", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--budget", type=float, default=25.0, help="seconds of tests a mutant gets")
    parser.add_argument("--tests", type=int, default=80, help="most tests a mutant gets")
    parser.add_argument(
        "--again",
        action="store_true",
        help="only those that lived last time, say against more tests",
    )
    parser.add_argument("--keep", type=Path, default=Path("mutants"), help="what was learned, rows")
    told = parser.parse_args()
    keep = told.keep.resolve()
    keep.mkdir(parents=True, exist_ok=True)
    if not (keep / "tests.json").exists():
        learn(keep)
    check_names(keep)
    context = multiprocessing.get_context("fork")
    rows = []
    with ProcessPoolExecutor(told.jobs, mp_context=context) as pool:
        some = drawn(told.mutants, told.seed)
        file = keep / f"rows-{told.seed}{'-again' if told.again else ''}.csv"
        if told.again:
            before = pd.read_csv(keep / f"rows-{told.seed}.csv")["killed"]
            some = [m for m, dead in zip(some, before, strict=True) if not dead]
        for row in pool.map(
            partial(attempt, keep=keep, budget_s=told.budget, most=told.tests), some
        ):
            rows.append(row)
            sign = "killed" if row["killed"] else "ALIVE "
            print(f"{len(rows):4d} {sign} {row['file']}:{row['line']} {row['operator']}: "
                  f"{row['was']}  ->  {row['became']} [{str(row['how'])[:90]}, "
                  f"{row['tests']} tests, {row['seconds']} s]", flush=True)  # fmt: skip
            pd.DataFrame(rows).to_csv(file, index=False)
    killed = sum(bool(r["killed"]) for r in rows)
    print(f"{killed} of {len(rows)} killed ({100 * killed / max(len(rows), 1):.1f} %)")


if __name__ == "__main__":
    main()
