"""The numbers are those of last time, on this platform and within the stated tolerance on others.

Not a proof that they are right (the other tests are): it notices when they change. If a change is
meant, run ``python tests/pinned/make.py`` and tell it under "Numbers changed" in DEVELOPERS.md.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pinned.digest import differences, digest
from pinned.scenes import SCENES

NUMBERS = Path(__file__).parent / "numbers"


@pytest.mark.parametrize("name", SCENES)
def test_numbers_are_those_of_last_time(name):
    now = digest(SCENES[name]())
    found = differences(now, json.loads((NUMBERS / f"{name}.json").read_text(encoding="utf-8")))
    assert not found, f"{len(found)} of {len(now)} differ, the first:\n" + "\n".join(found[:10])


def test_a_changed_number_and_a_changed_word_are_noticed():
    then = {"a": 1.0, "b": [3.0, 1e-9, None], "c": "declared"}
    assert differences(dict(then), then) == []
    assert differences(then | {"a": 1.0 + 5e-6}, then) == []
    assert differences(then | {"a": 1.0 + 5e-5}, then) == ["a: was 1.0, is 1.00005"]
    assert len(differences(then | {"b": [3.001, 1e-9, None]}, then)) == 1
    assert len(differences(then | {"b": [3.0, 1e-9, 2.0], "c": "assumed"}, then)) == 2
    words = {"w": "5.12 kN of 3e-4"}
    assert differences({"w": "5.13 kN of 3e-4"}, words) == []
    assert len(differences({"w": "5.15 kN of 3e-4"}, words)) == 1
    assert len(differences({"w": "5.12 kN or 3e-4"}, words)) == 1
    assert differences({"a": 1.0}, then) == ["b: gone", "c: gone"]
