"""Write the pinned numbers anew, after a change of them that is meant.

python tests/pinned/make.py [scene ...]
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pinned.digest import differences, digest
from pinned.scenes import SCENES


def main() -> None:
    folder = Path(__file__).parent / "numbers"
    folder.mkdir(exist_ok=True)
    for name in sys.argv[1:] or SCENES:
        start = time.monotonic()
        now = digest(SCENES[name]())
        file = folder / f"{name}.json"
        then = json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
        changed = len(differences(now, then))
        file.write_text(json.dumps(now, indent=0) + "\n", encoding="utf-8")
        print(f"{name}: {len(now)} entries, {changed} changed, {time.monotonic() - start:.1f} s")


if __name__ == "__main__":
    main()
