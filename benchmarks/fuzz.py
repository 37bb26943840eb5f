"""Every reader of outside data under fire: valid files, changed until something breaks.

    python benchmarks/fuzz.py --minutes 60 --seed 1              all readers in turn
    python benchmarks/fuzz.py --minutes 5 --only "wide xlsx"     one of them
    python benchmarks/fuzz.py --again FOLDER                     every file that broke something, once more

The readers, their seeds, the changes and what must hold are those of ``tests/fuzzing.py``: a reader may take a file or
refuse it in one sentence; it may raise nothing else, warn of nothing, and its totals add up.  With the
coverage-guided engine atheris (``pip install atheris``) the changes that reach new code are kept and changed further;
``--engine plain`` makes do without it.  What broke is written to a folder, one file for each place in the code, and
the exit code is 1.  Files of the demo season, cut short, are seeds as well.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from pathlib import Path

HERE = Path(__file__).resolve()
TESTS = HERE.parents[1] / "tests"
DEMO = HERE.parents[1] / "demo_data"
sys.path.insert(0, str(TESTS))
TURN_S = 60.0
LONGEST = 1 << 16  # bytes of one input


def seeds_of(name: str) -> list[bytes]:
    """The reader's own seed, and files of the demo season of its kind."""
    from fuzzing import READERS

    patterns = {
        "event.toml": "*/event.toml", "setup csv": "*/setup.csv", "setup xlsx": "*/setup.xlsx", "register": "equipment.csv",
        "entries": "*/entries.csv", "draft": "*/exports/*.[ct]sv",
    }  # fmt: skip
    files = sorted(DEMO.glob(patterns[name])) if name in patterns else []
    return [READERS[name][1](), *(_short(path) for path in files)]


def _short(path: Path) -> bytes:
    data = path.read_bytes()
    return data if path.suffix in (".xlsx", ".toml") else b"\n".join(data.split(b"\n")[:30])


class Hunt:
    """Runs one reader and writes down what broke it; ``tried``, ``taken`` and ``broken`` count."""

    def __init__(self, name: str, folder: Path) -> None:
        self.name, self.folder = name, folder
        self.tried = self.taken = self.broken = 0
        self.sentences: set[str] = set()

    def run(self, data: bytes) -> None:
        from fuzzing import run_reader

        self.tried += 1
        try:
            outcome = run_reader(self.name, data)
            self.taken += outcome == "taken"
            self.sentences.add(outcome[:40])
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as problem:  # a panic of a compiled library is no Exception
            self._keep(data, problem)

    def _keep(self, data: bytes, problem: BaseException) -> None:
        frames = [f for f in traceback.extract_tb(problem.__traceback__) if "lineproof" in f.filename]
        place = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else "?"
        mark = hashlib.sha256(f"{self.name} {type(problem).__name__} {place}".encode()).hexdigest()[:10]
        self.broken += 1
        home = self.folder / f"{self.name.replace(' ', '_')}-{mark}"
        if home.exists():
            return
        home.mkdir(parents=True)
        (home / "input").write_bytes(data)
        (home / "reader").write_text(self.name, encoding="utf-8")
        told = "".join(traceback.format_exception(problem))
        (home / "traceback").write_text(told, encoding="utf-8", errors="replace")
        print(f"BROKEN {self.name}: {type(problem).__name__} at {place}: {str(problem)[:200]!r}", flush=True)

    def tell(self) -> None:
        print(
            f"{self.name}: {self.tried} inputs, {self.taken} taken, {len(self.sentences)} kinds of answer, {self.broken} broke",
            flush=True,
        )


def hunt_plainly(hunt: Hunt, seconds: float, seed: int) -> None:
    """Changes of seeds; an answer that was not given before makes its input a seed, too."""
    from fuzzing import mutate

    chance, end = random.Random(seed), time.monotonic() + seconds
    corpus = seeds_of(hunt.name)
    for data in corpus:
        hunt.run(data)
    while time.monotonic() < end:
        known = len(hunt.sentences)
        data = mutate(chance.choice(corpus), chance)[:LONGEST]
        hunt.run(data)
        if len(hunt.sentences) > known:
            corpus.append(data)


def hunt_by_coverage(hunt: Hunt, seconds: float, seed: int, corpus: Path) -> None:
    """Never returns: the engine ends its process."""
    import atheris

    with atheris.instrument_imports(include=["lineproof"]):
        import fuzzing  # and with it every reader
    corpus.mkdir(parents=True, exist_ok=True)
    for number, data in enumerate(seeds_of(hunt.name)):
        (corpus / f"seed-{number}").write_bytes(data)

    def change(data: bytes, longest: int, number: int) -> bytes:
        chance = random.Random(number)
        new = atheris.Mutate(data, longest) if chance.random() < 0.2 else fuzzing.mutate(data, chance)
        return new[:longest]

    words = [
        sys.argv[0], f"-seed={seed}", f"-max_len={LONGEST}", "-verbosity=0",
        "-timeout=120", "-rss_limit_mb=3000", f"-artifact_prefix={hunt.folder}/", "-print_final_stats=0", str(corpus),
    ]  # fmt: skip
    end = time.monotonic() + seconds

    def run(data: bytes) -> None:
        hunt.run(data)
        if time.monotonic() > end:
            hunt.tell()
            os._exit(0)  # the engine would end the process without a word

    atheris.Setup(words, run, custom_mutator=change)
    atheris.Fuzz()


def run_turn(options: argparse.Namespace) -> None:
    """One reader, for some seconds, in this process."""
    warnings.simplefilter("error")
    hunt = Hunt(options.turn, Path(options.found))
    if options.engine == "plain":
        hunt_plainly(hunt, options.seconds, options.seed)
        hunt.tell()
    else:
        corpus = Path(options.found) / "corpus" / options.turn.replace(" ", "_")
        hunt_by_coverage(hunt, options.seconds, options.seed, corpus)


def run_again(found: Path) -> int:
    """Every kept input once more; how many still break."""
    warnings.simplefilter("error")
    hunts = []
    for reader in sorted(found.rglob("reader")):
        hunt = Hunt(reader.read_text(encoding="utf-8"), Path(tempfile.mkdtemp(prefix="lineproof-again-")))
        hunt.run((reader.parent / "input").read_bytes())
        hunts.append(hunt)
    broken = sum(hunt.broken for hunt in hunts)
    print(f"{len(hunts)} inputs that broke something once; {broken} still do")
    return broken


def run_all(options: argparse.Namespace) -> int:
    from fuzzing import READERS

    names = [options.only] if options.only else list(READERS)
    found = Path(options.found or tempfile.mkdtemp(prefix="lineproof-found-"))
    print(f"{options.engine} engine, seed {options.seed}; what breaks is kept in {found}", flush=True)
    begin, turn, seed = time.monotonic(), 0, options.seed
    while (left := options.minutes * 60 - (time.monotonic() - begin)) > 1:
        seconds = min(left, TURN_S)
        words = [sys.executable, str(HERE), "--turn", names[turn % len(names)], "--seconds", str(seconds)]
        words += ["--seed", str(seed), "--found", str(found), "--engine", options.engine]
        done = subprocess.run(words, check=False, stderr=subprocess.PIPE, text=True, errors="replace")
        if done.returncode:
            print(
                f"BROKEN {names[turn % len(names)]}: its process ended with {done.returncode}: {done.stderr[-800:]}"
            )
            (found / f"ended-{turn}").mkdir()
            (found / f"ended-{turn}" / "traceback").write_text(done.stderr, encoding="utf-8")
        turn, seed = turn + 1, seed + 1
    kept = sorted(path.parent.name for path in found.rglob("traceback"))
    print(f"{options.minutes:g} minutes, {turn} turns, {len(kept)} places broke {kept}")
    return 1 if kept else 0


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one reader, such as 'wide xlsx'")
    parser.add_argument("--engine", choices=("atheris", "plain"), default=_engine())
    parser.add_argument("--found", help="folder for what breaks")
    parser.add_argument("--again", type=Path, help="folder of an earlier hunt")
    parser.add_argument("--turn", help=argparse.SUPPRESS)
    parser.add_argument("--seconds", type=float, default=TURN_S, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.turn:
        run_turn(options)
    else:
        sys.exit(run_again(options.again) if options.again else run_all(options))


def _engine() -> str:
    from importlib.util import find_spec

    return "atheris" if find_spec("atheris") else "plain"


if __name__ == "__main__":
    main()
