"""Coverage-guided fuzzing of everything that reads a user's files.

    python tests/studies/fuzz_readers.py --cases 100000 [--seconds 1200] [--seed 1]

Whatever the bytes, a reader gives a table or one printable line (`InputError`): any other
exception, a case above 20 s or a process above 1 GB is a finding; its input is kept as
``crash-*``, ``timeout-*`` or ``oom-*`` in the folder given by ``--keep``. Needs atheris (Google's
fuzzer for Python, on Linux): ``pip install '.[studies]'``.
"""

from __future__ import annotations

import argparse
import io
import sys
import tempfile
import zipfile
from collections import Counter
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["ratemodel"]):
    from ratemodel.errors import InputError
    from ratemodel.records.campaign import read_campaign
    from ratemodel.records.creep import read_creep
    from ratemodel.records.cycling import read_cycling
    from ratemodel.records.logfile import LogMapping, read_log
    from ratemodel.reduction import ReductionSettings, reduce_log

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "records"))
import conftest as sound  # the sound campaign of the tests

CREEP = "file,series,load_kN,free_length_mm,temperature_C,broke\na1.csv,cord,5,500,20,no\n"
CURVE = "time_h,elongation_mm\n0,0\n1,5\n10,7.5\n100,9\n"
CYCLING = (
    "specimen,series,cycle,preload_fraction,peak_force_kN,residual_elongation_percent\n"
    "P1,cord,0,,11,\nP2,cord,1,0.5,,0.8\n"
)
CAMPAIGN = {
    "campaign.toml": sound.TOML,
    "breaks.csv": sound.BREAKS,
    "logs/a1.csv": sound.LOG,
    "creep.csv": CREEP,
    "creep/a1.csv": CURVE,
    "cycling.csv": CYCLING,
}
#: First byte of a case: which file is the fuzzer's; the rest are sound.
TARGETS = ("campaign.toml", "breaks.csv", "creep.csv", "creep/a1.csv", "cycling.csv", "log", "log")
#: What a fuzzer would take long to find by itself.
WORDS = (
    "nan", "inf", "1e400", "1e308", "-1", "=1+1", "../x", "[[", "]]", "{ mean = 1, sd = 2 }",
    "{ low = 0, high = 1 }", "_kN", "_lbf", "_mm", "_per_s", "broke", "excluded", "yes", "no",
    "[use.x]", "[series.x]", "[machine.x]", 'kind = \\"fall\\"', "true", "\\x00", "\\xff\\xfe",
    "\\xef\\xbb\\xbf", "\\xe2\\x88\\x92", "1,5", ";", "\\x09", "Time [s]", "Force [kN]",
)  # fmt: skip
MAPPING = LogMapping()
SETTINGS = ReductionSettings(free_length_m=0.5)


def seeds() -> dict[str, bytes]:
    """A case of every kind to start from."""
    found = {}
    for i, name in enumerate(TARGETS[:5]):
        found[name.replace("/", "-")] = bytes([i]) + CAMPAIGN[name].encode()
    rows = [f"{0.01 * i:.2f}\t{0.2 * i:.1f}\t{0.05 * i**1.2:.3f}" for i in range(60)]
    log = "Test: cord\nTime [s]\tPosition [mm]\tForce [kN]\n" + "\n".join(rows) + "\n"
    found["log-tab"] = b"\x05" + log.encode()
    found["log-comma"] = b"\x05" + log.replace("\t", ",").encode()
    found["log-decimal-comma"] = b"\x05" + log.replace(".", ",").replace("\t", ";").encode()
    found["log-16"] = b"\x05" + log.encode("utf-16")
    found["log-xlsx"] = b"\x05" + workbook(log)
    found["log-tdms"] = b"\x05" + measurement(rows)
    return found


def workbook(text: str) -> bytes:
    import openpyxl

    book, out = openpyxl.Workbook(), io.BytesIO()
    for line in text.splitlines():
        book.active.append(line.split("\t"))
    book.save(out)
    stored = io.BytesIO()  # without compression, so that the fuzzer can see inside
    with zipfile.ZipFile(out) as packed, zipfile.ZipFile(stored, "w") as plain:
        for name in packed.namelist():
            plain.writestr(name, packed.read(name))
    return stored.getvalue()


def measurement(rows: list[str]) -> bytes:
    import numpy as np
    from nptdms import ChannelObject, TdmsWriter

    table = np.array([[float(x) for x in row.split("\t")] for row in rows])
    out = io.BytesIO()
    names = (("time", "s"), ("position", "mm"), ("force", "kN"))
    with TdmsWriter(out) as writer:
        writer.write_segment([
            ChannelObject("log", name, column, properties={"unit_string": unit})
            for (name, unit), column in zip(names, table.T, strict=True)
        ])  # fmt: skip
    return out.getvalue()


class Fuzzer:
    """Writes a case into a folder and reads it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.told = folder, Counter[str]()
        for name, text in CAMPAIGN.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, encoding="utf-8")

    def __call__(self, data: bytes) -> None:
        if not data:
            return
        target = TARGETS[data[0] % len(TARGETS)]
        try:
            if target == "log":
                self._log(data[1:])
            else:
                self._campaign(target, data[1:])
            self.told["read"] += 1
        except InputError as error:
            self.told["refused"] += 1
            if not str(error).isprintable() or "; expected " not in str(error):
                raise AssertionError(f"no clear line: {str(error)!r}") from error

    def _log(self, data: bytes) -> None:
        path = self.folder / "fuzzed.csv"
        path.write_bytes(data)
        log = read_log(path, MAPPING)
        self.told["logs read"] += 1
        reduce_log(log, SETTINGS)

    def _campaign(self, target: str, data: bytes) -> None:
        path = self.folder / target
        path.write_bytes(data)
        try:
            campaign = read_campaign(self.folder)
            read_creep(self.folder, campaign)
            read_cycling(self.folder, campaign)
        finally:
            path.write_text(CAMPAIGN[target], encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seconds", type=int, default=3600)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=Path("fuzz"))
    parser.add_argument("--only", choices=("tables", "logs"), help="half of the readers")
    arguments = parser.parse_args()
    words = arguments.keep / "words.dict"
    corpus = arguments.keep / f"corpus-{arguments.only or 'all'}"
    corpus.mkdir(parents=True, exist_ok=True)
    words.write_text("".join(f'"{w}"\n' for w in WORDS))
    for name, data in seeds().items():
        (corpus / f"seed-{name}").write_bytes(data)
    with tempfile.TemporaryDirectory() as folder:
        fuzzer = Fuzzer(Path(folder))

        def case(data: bytes) -> None:
            if data and arguments.only:
                first = 5 if arguments.only == "logs" else data[0] % 5
                data = bytes([first]) + data[1:]
            fuzzer(data)
            cases = fuzzer.told["read"] + fuzzer.told["refused"]
            if cases % 10_000 == 0:
                print(dict(fuzzer.told), flush=True)

        options = [
            sys.argv[0], f"-runs={arguments.cases}", f"-max_total_time={arguments.seconds}",
            f"-seed={arguments.seed}", "-timeout=20", "-rss_limit_mb=1024", "-max_len=20000",
            f"-dict={words}", f"-artifact_prefix={arguments.keep}/", str(corpus),
        ]  # fmt: skip
        atheris.Setup(options, case)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
