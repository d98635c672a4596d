"""Kills a program in the middle of keeping clips, again and again, and looks at what is left.

``python -m tests.proof.killed [TIMES] [FOLDER]`` does it 100 times for either journal and prints what it found. Nothing that was said
to be kept may be lost, and nothing may be there in part.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from posture.errors import ChangedMeanwhileError
from posture.records.clips import clip_of
from posture.records.seen import Measured
from posture.records.store import Records, open_records
from posture.records.values import Person
from tests.records.made import another, made_measured, sha256_of

CODE = "Quagga-17"

LONGEST_S = 0.4
"""From the start of the program to its death; it opens the file within the first hundredth and keeps some ten clips in this time."""


@dataclass
class Result:
    """What was found after all deaths.

    Attributes
    ----------
    deaths : int
    told : set of str
        SHA-256 of the clips of which the program said that they are kept.
    kept : set of str
        Of those that are in the file.
    changes : int
        The highest change of the person of which it was said that it is kept.
    in_the_middle : int
        Deaths with a clip or a change not said yet but there: between being kept and being told.
    before_any : int
        Deaths before the first word.
    faults : list of str
    """

    deaths: int = 0
    told: set[str] = field(default_factory=set)
    kept: set[str] = field(default_factory=set)
    changes: int = 0
    in_the_middle: int = 0
    before_any: int = 0
    faults: list[str] = field(default_factory=list)


def kill_again_and_again(path: Path, times: int, seed: int = 1) -> Result:
    """Start a program that keeps clips, kill it at a random moment, look; and again."""
    chance, result = random.Random(seed), Result()
    with _nursery(path) as nursery:
        assert nursery.stdin is not None
        assert nursery.stdout is not None
        lines = nursery.stdout
        for number in range(times):
            nursery.stdin.write(f"{number}\n")
            nursery.stdin.flush()
            child = int(lines.readline().split()[1])
            time.sleep(chance.uniform(0, LONGEST_S))
            os.kill(child, signal.SIGKILL)
            said = list(iter(lambda: lines.readline().split(), ["gone"]))
            result.deaths += 1
            result.before_any += not said
            result.told |= {words[1] for words in said if words[0] == "kept"}
            result.changes = max([result.changes, *(int(words[1]) for words in said if words[0] == "changed")])
            result.faults += [" ".join(words) for words in said if words[0] not in ("kept", "changed")]
            _look(path, result)
    return result


def _look(path: Path, result: Result) -> None:
    """Open the file as the next user would, and look at everything in it."""
    with open_records(path) as records:
        checks = [row[0] for row in records.database.rows("PRAGMA integrity_check")]
        if checks != ["ok"] or records.database.rows("PRAGMA foreign_key_check"):
            result.faults.append(f"damaged: {checks[0]}")
        person = records.persons.find(CODE)
        if person is None:
            if result.told or result.changes:
                result.faults.append("the person is gone")
            return
        if not result.changes <= int(person.suspected_by or 0) <= result.changes + 1:
            result.faults.append(f"change {result.changes} was said to be kept; {person.suspected_by} is there")
        result.changes = int(person.suspected_by or 0)
        before, result.kept = result.kept, {clip.sha256 for clip in records.clips.of_person(person.id)}
        result.faults += [f"lost: {sha256}" for sha256 in (result.told | before) - result.kept]
        more = result.kept - result.told - before
        result.in_the_middle += bool(more)
        if len(more) > 1:
            result.faults.append(f"{len(more)} clips are there of which nothing was said")
        result.faults += _halves(records, result.kept - before)


def _halves(records: Records, new: set[str]) -> list[str]:
    """What is there in part, of clips that are new."""
    faults = []
    for table in ("clips", "tracks", "readings"):
        counted = {row["sha256"]: row["n"] for row in records.database.rows(_COUNT[table])}
        faults += [f"{sha256}: no {table}" for sha256 in sorted(new) if counted.get(sha256, 0) != 1]
    if faults:
        return faults
    for sha256 in new:
        row = records.database.row("SELECT id FROM clips WHERE sha256 = ?", (sha256,))
        assert row is not None
        reading = records.readings.current(row["id"])
        if reading.summary.clip.sha256 != sha256 or not len(records.readings.track(reading.track_id).time_s):
            faults.append(f"{sha256}: another reading")
    return faults


_COUNT = {
    "clips": "SELECT sha256, count(*) AS n FROM clips GROUP BY sha256",
    "tracks": "SELECT sha256, count(*) AS n FROM clips JOIN tracks ON clip_id = clips.id GROUP BY sha256",
    "readings": "SELECT sha256, count(*) AS n FROM clips JOIN readings ON clip_id = clips.id AND is_current GROUP BY sha256",
}


@contextmanager
def _nursery(path: Path) -> Iterator[subprocess.Popen[str]]:
    """A program that has loaded everything and makes a child whenever it is told to: loading takes longer than a life."""
    command = [sys.executable, "-m", "tests.proof.killed", "--nursery", str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as nursery:
        assert nursery.stdin is not None
        yield nursery
        nursery.stdin.close()


def _raise_children(path: Path) -> None:
    """Make a child for every line that comes, and say when it is gone."""
    measured = made_measured()
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            try:
                _keep_clips(path, line.strip(), measured)
            except BaseException as error:
                _say(f"error {type(error).__name__}: {' '.join(str(error).split())}")
            os._exit(0)
        _say(f"child {child}")
        os.waitpid(child, 0)
        _say("gone")


def _keep_clips(path: Path, life: str, measured: Measured) -> None:
    """Keep clips and change the person until killed, and say of each when it is kept."""
    with open_records(path) as records:
        person = records.persons.find(CODE) or records.persons.add(Person(CODE))
        for number in range(10_000):
            name = f"{life} {number}"
            new = another(measured, name)
            records.clips.keep(clip_of(person.id, new), new)
            _say(f"kept {sha256_of(name)}")
            try:
                person = records.persons.change(replace(person, suspected_by=str(int(person.suspected_by or 0) + 1)))
            except ChangedMeanwhileError:
                person = records.persons.get(person.id)
            else:
                _say(f"changed {person.suspected_by}")


def _say(line: str) -> None:
    """One whole line at once."""
    os.write(1, f"{line}\n".encode())


def main() -> None:
    """Both journals, and what was found."""
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as folder:
        # A folder of that name is taken for one that a client copies, which has the rollback journal.
        for journal, name in (("write-ahead log", "here"), ("rollback journal", "Dropbox")):
            result = kill_again_and_again(Path(folder) / name / "records.sqlite", times)
            print(
                f"{journal}: killed {result.deaths} times, {result.before_any} of them before the first entry; {len(result.told)}"
                f" clips said to be kept, {len(result.told - result.kept)} lost, {len(result.faults)} faults;"
                f" {result.in_the_middle} deaths between keeping and saying so"
            )
            for fault in result.faults:
                print(f"  {fault}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--nursery"]:
        _raise_children(Path(sys.argv[2]))
    else:
        main()
