"""Mutation check of the core: how many small faults do the fast tests notice?

    python tests/studies/mutants.py --mutants 150 [--seed 1] [--jobs 1]

A mutant is one change in one place of the core: an operator, a comparison, a constant, a sign, a
dropped ``not``, an argument of ``where`` swapped. Mutants are drawn at random with a fixed seed
from all places, each is run against the tests named for its file, in a copy of the project, and
counts as killed when a test fails or the run exceeds its time. Survivors are printed with their
line, to be looked at: a mutant that changes nothing anyone can see is not a fault of the tests.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

# loaded once, before the forks; nothing of the package itself
import hypothesis  # noqa: F401
import lmfit  # noqa: F401
import pytest
import scipy.stats  # noqa: F401

ROOT = Path(__file__).resolve().parents[2]
FAST = ("tests/inference/test_parts.py", "tests/inference/test_scatter.py",
        "tests/inference/test_exact.py",
        "tests/inference/test_findings.py", "tests/inference/test_soundness.py",
        "tests/inference/test_invariance.py",
        "tests/inference/test_censored.py")  # fmt: skip
#: Files of the core and the tests that are asked about each, likeliest killers first.
CORE: dict[str, tuple[str, ...]] = {
    "models/rate.py": ("tests/models/test_rate.py", "ratemodel/models/rate.py"),
    "models/preload.py": ("tests/models/test_preload_models.py", "tests/inference/test_preload.py",
                          "tests/inference/test_cycling.py"),
    "models/creep.py": ("tests/models", "tests/inference/test_creepfit.py"),
    "models/creep_thermal.py": ("tests/models", "tests/inference/test_creepfit.py"),
    "models/damage.py": ("tests/models",),
    "models/fast_preload.py": ("tests/models",),
    "models/kinetics.py": ("tests/models", "tests/inference/test_kineticfit.py"),
    "models/lifetime.py": ("tests/inference/test_parts.py", "tests/models",
                           "tests/inference/test_life.py"),
    "models/history.py": ("tests/models",),
    "models/base.py": ("tests/models/test_rate.py", *FAST),
    "inference/gaussian.py": FAST,
    "inference/laplace.py": FAST,
    "inference/hyper.py": FAST,
    "inference/average.py": FAST,
    "inference/ratefit.py": FAST,
    "inference/scatter.py": ("ratemodel/inference/scatter.py", *FAST),
    "inference/draws.py": FAST,
    "inference/data.py": (*FAST, "tests/inference/test_from_records.py"),
    "inference/priors.py": FAST,
    "translation.py": ("tests/test_limits.py", "tests/test_uses_through.py"),
    "limits.py": ("tests/test_limits.py", "tests/test_uses_through.py"),
    "steps.py": ("tests/test_limits.py", "tests/test_uses_through.py"),
}  # fmt: skip
SWAPS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.And: ast.Or, ast.Or: ast.And, ast.BitAnd: ast.BitOr,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change: which node of a file's tree, in the order of walking, and how."""

    file: str
    node: int
    line: int
    what: str


def changes(tree: ast.Module) -> list[tuple[int, int, str]]:
    """Node number, line and kind of every change a file offers."""
    texts = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    hidden: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign):  # annotations do nothing
            hidden |= {id(n) for n in ast.walk(node.annotation)}
        if isinstance(node, ast.FunctionDef):
            notes = [a.annotation for a in ast.walk(node.args) if isinstance(a, ast.arg)]
            for note in [*notes, node.returns]:
                hidden |= {id(n) for n in ast.walk(note)} if note else set()
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
            hidden |= {id(n) for n in ast.walk(node)}
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in MESSAGES:
            hidden |= {id(n) for n in ast.walk(node)}
    found = []
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in hidden or id(node) in texts:
            continue
        line = getattr(node, "lineno", 0)
        if isinstance(node, ast.BinOp) and type(node.op) in SWAPS:
            if not isinstance(node.left, ast.Constant) or not isinstance(node.left.value, str):
                found.append((number, line, "operator"))
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
            found.append((number, line, "comparison"))
        elif isinstance(node, ast.BoolOp):
            found.append((number, line, "and/or"))
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not | ast.Invert):
            found.append((number, line, "sign or not"))
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            found.append((number, line, "constant"))
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") in PAIRS:
            found.append((number, line, "call"))
    return found


MESSAGES = {"Problem", "InputError", "Parameter", "NotIdentifiedError", "ConvergenceError"}
PAIRS = {"maximum": "minimum", "minimum": "maximum", "max": "min", "min": "max", "any": "all",
         "all": "any", "cumsum": "asarray", "where": "where"}  # fmt: skip


def changed(tree: ast.Module, number: int) -> ast.Module:
    """A copy of a tree with one node changed."""
    out = copy.deepcopy(tree)
    node = next(n for i, n in enumerate(ast.walk(out)) if i == number)
    if isinstance(node, ast.BinOp | ast.BoolOp):
        node.op = SWAPS[type(node.op)]()  # type: ignore[assignment]
    elif isinstance(node, ast.Compare):
        node.ops[0] = SWAPS[type(node.ops[0])]()  # type: ignore[call-overload]
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
        if isinstance(node.op, ast.Not):  # doubled, so that it drops out
            node.operand = ast.UnaryOp(ast.Not(), node.operand)
    elif isinstance(node, ast.Constant):
        node.value = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 + 0.1
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        if node.func.attr == "where" and len(node.args) == 3:
            node.args[1], node.args[2] = node.args[2], node.args[1]
        else:
            node.func.attr = PAIRS[node.func.attr]
    return ast.fix_missing_locations(out)


def drawn(count: int, seed: int) -> list[Mutant]:
    """Mutants at random from all places of the core."""
    every = []
    for file in CORE:
        tree = ast.parse((ROOT / "ratemodel" / file).read_text(encoding="utf-8"))
        every += [Mutant(file, *place) for place in changes(tree)]
    print(f"{len(every)} places in {len(CORE)} files", flush=True)
    return random.Random(seed).sample(every, min(count, len(every)))


def fails(project: Path, tests: tuple[str, ...], limit_s: float) -> tuple[bool, str]:
    """Whether a test fails in the project, run in a fork that has the libraries loaded."""
    there = [t for t in dict.fromkeys(tests) if (project / t).exists()]
    told = project / "told.txt"
    child = os.fork()
    if child == 0:
        code = 1
        with told.open("w", encoding="utf-8") as file:
            os.dup2(file.fileno(), 1)
            os.dup2(file.fileno(), 2)
        os.chdir(project)
        sys.path.insert(0, str(project))
        try:
            code = int(pytest.main([
                "-q", "-x", "-p", "no:cacheprovider", "--tb=no",
                "-W", "ignore::pytest.PytestAssertRewriteWarning", *there,
            ]))  # fmt: skip
        except BaseException as error:
            print("ERROR", repr(error))
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            lines = [x for x in told.read_text().splitlines() if x.startswith(("FAILED", "ERROR"))]
            return status != 0, lines[0] if lines else "passed" if status == 0 else "error"
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return True, "time"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutants", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--limit", type=float, default=180.0, help="seconds for one mutant")
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    arguments = parser.parse_args()
    sys.dont_write_bytecode = True
    killed, alive, start = 0, [], time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        project = Path(folder) / "project"
        shutil.copytree(ROOT, project, ignore=shutil.ignore_patterns(".git", "*.pyc", ".venv"))
        for tests in sorted(set(CORE.values())):
            dead, how = fails(project, tests, 10 * arguments.limit)
            if dead:
                sys.exit(f"the tests fail without any mutant: {how}")
        for i, mutant in enumerate(drawn(arguments.mutants, arguments.seed)):
            if time.monotonic() - start > arguments.seconds:
                break
            path = project / "ratemodel" / mutant.file
            sound = path.read_text(encoding="utf-8")
            path.write_text(ast.unparse(changed(ast.parse(sound), mutant.node)), encoding="utf-8")
            dead, how = fails(project, CORE[mutant.file], arguments.limit)
            path.write_text(sound, encoding="utf-8")
            killed += dead
            if not dead:
                alive.append(mutant)
            text = sound.splitlines()[mutant.line - 1].strip() if mutant.line else ""
            print(f"{i + 1:4d} {'killed' if dead else 'ALIVE '} {mutant.file}:{mutant.line} "
                  f"{mutant.what}: {text} [{how[:80]}]", flush=True)  # fmt: skip
    total = killed + len(alive)
    print(f"{killed} of {total} killed ({100 * killed / max(total, 1):.0f} %)")


if __name__ == "__main__":
    main()
