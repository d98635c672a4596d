"""An audit: what is under consent and nothing else is measured, the table is the same when run again, and holds no name."""

import contextlib
import csv
import hashlib
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from posture.audit.consent import (
    NO_CONSENT,
    NOTHING_FOUND,
    SEVERAL_CODES,
    Decision,
    decisions_of_list,
    decisions_of_records,
)
from posture.audit.run import NOT_REACHED, RESULTS, Audit, clips_in, run_audit
from posture.audit.table import COLUMNS, TABLE_NAME
from posture.batch.folder import STEM_FIGURES
from posture.errors import ClipError, ConsentError, FaultError, OutputError
from posture.measure import Settings
from posture.records.clips import clip_of
from posture.records.dates import PartialDate
from posture.records.store import open_records
from posture.records.values import Consent, Person
from posture.summary.record import Check, Conditions, Interval, MomentRecord, Unsided
from tests.records.made import made_measured
from tests.test_batch import Made, do_as_the_file_says, held, sha256_of, summary_of, wait_until

ROOT = Path(__file__).parents[1]
CHILD_NAME = "Little Maria 2019"
HEAD = "clip,sha256,code,given_on,by_whom,withdrawn_on\n"


def measure_by_word(job, on_frame):
    """What stands in the clip is what is found in it."""
    word = job.path.read_text().split()[0]
    size = Interval(value=14.1, low=8.4, high=19.7)
    if word == "held":
        checks = [Check(name="cadence", level="warn", text="Few. Film more."), Check(name="face", level="pass", text="Seen.")]
        return Made(summary_of(job, sha256_of(job), habitual=held(), checks=checks))
    if word == "lying":
        check = Check(name="position", level="fail", text="Gravity is no zero for tilt here. Sit the child up.")
        return Made(summary_of(job, sha256_of(job), habitual=held(tilt_deg=None), checks=[check]))
    if word == "unsided":
        unsided = Unsided(tilt_size_deg=size, turn_size_deg=size, chin_deg=size, same_direction=True, share_tilted=1)
        checks = [
            Check(name="steady time", level="warn", text="12.4 s of steady time in 5 spells: enough for a number."),
            Check(name="mirroring", level="warn", text="It is not known whether the picture is mirrored. Settle it."),
        ]
        return Made(summary_of(job, sha256_of(job), sided=False, unsided=unsided, checks=checks))
    if word == "moment":
        moment = MomentRecord(time_s=0, tilt_deg=Interval(value=-0.001, low=-5, high=5), turn_deg=None, chin_deg=size)
        return Made(summary_of(job, sha256_of(job), moment=moment, checks=[]))
    if word == "exchanged":
        return Made(summary_of(job, "cd" * 32, habitual=held()))
    if word == "unknown":
        raise ZeroDivisionError(f"{job.path} and {job.path.name!r}")
    return do_as_the_file_says(job, on_frame)


def write_clips(folder: Path, **words: str) -> Path:
    """A folder with a clip for each name; "P1" becomes "P1 Little Maria 2019.mp4"."""
    folder.mkdir(exist_ok=True)
    for name, word in words.items():
        (folder / f"{name} {CHILD_NAME}.mp4").write_text(word)
    return folder


def consented(folder: Path, **codes: str) -> dict[str, Decision]:
    """Every clip allowed, under the first word of its name or another code."""
    names = {clip.path.name.split()[0]: clip.sha256 for clip in clips_in(folder)}
    return {sha256: Decision(codes.get(name, name), "allowed") for name, sha256 in names.items()}


def run(folder: Path, out: Path, decisions: dict[str, Decision], mirrored: str = "no", **named) -> Audit:
    return run_audit(clips_in(folder), decisions, out, Settings(mirrored=mirrored), work=measure_by_word, **named)


def rows_in(out: Path) -> list[dict[str, str]]:
    with (out / TABLE_NAME).open(newline="") as file:
        return list(csv.DictReader(file))


def hash_of(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_each_kind_of_clip_is_a_row(tmp_path: Path) -> None:
    clips = write_clips(
        tmp_path / "clips",
        P1="held",
        P2="lying",
        P3="moment",
        P4="nothing",
        P5="refuse",
        P6="unknown",
        P7="exchanged",
        P8="mine",
    )
    decisions = consented(clips)
    others = {hash_of(clips / f"P8 {CHILD_NAME}.mp4")}
    decisions = {sha256: said for sha256, said in decisions.items() if sha256 not in others}
    out = tmp_path / "out"
    done = run(clips, out, decisions)
    rows = {row["code"]: row for row in rows_in(out)}
    assert tuple(rows["P1"]) == COLUMNS
    assert {code: row["status"] for code, row in rows.items()} == {
        "": "skipped for consent", "P1": "measured", "P2": "measured", "P3": "measured", "P4": "not measured", "P5": "not measured",
        "P6": "not measured", "P7": "not measured",
    }  # fmt: skip
    first = rows["P1"]
    assert (first["tilt_deg"], first["tilt_low_deg"], first["tilt_high_deg"]) == ("-14.10", "-19.70", "-8.40")
    assert (first["turn_deg"], first["chin_low_deg"], first["tilt_size_deg"]) == ("6.20", "-20.40", "")
    assert (first["steady_s"], first["spells"], first["warned"], first["failed"]) == ("35", "9", "cadence", "")
    assert (first["sided"], first["is_moment"], first["reason"]) == ("1", "0", "")
    assert rows["P2"]["tilt_deg"] == rows["P2"]["tilt_low_deg"] == ""
    assert (rows["P2"]["failed"], rows["P2"]["reason"]) == ("position", "Gravity is no zero for tilt here.")
    assert (rows["P3"]["is_moment"], rows["P3"]["tilt_deg"], rows["P3"]["turn_deg"]) == ("1", "0.00", "")
    assert (rows["P4"]["reason"], rows["P4"]["failed"]) == ("No face was found.", "face")
    assert rows["P5"]["reason"] == "Expected a clip; a story came. Choose another."
    assert rows["P6"]["reason"].startswith(
        "Expected to measure the clip; a fault of this program ended that (ZeroDivisionError"
    )
    assert "exchanged meanwhile" in rows["P7"]["reason"]
    assert rows[""]["reason"] == NOTHING_FOUND
    assert rows[""]["sha256"] == hash_of(clips / f"P8 {CHILD_NAME}.mp4")[:8]
    assert any(isinstance(outcome.error, FaultError) for outcome in done.outcomes)
    # Not in the table, not in a result, not as the name of one; and nothing of the clip without consent.
    kept = [path for path in out.rglob("*") if path.is_file()]
    assert len(kept) == 1 + 2 * 4
    assert not any(CHILD_NAME.encode() in path.read_bytes() or CHILD_NAME in path.name for path in kept)
    assert str(tmp_path) not in (out / TABLE_NAME).read_text()
    assert {path.name[:STEM_FIGURES] for path in kept[1:] if path.name != TABLE_NAME} <= {
        sha256[:STEM_FIGURES] for sha256 in decisions
    }


def test_no_side_while_mirroring_is_unknown(tmp_path: Path) -> None:
    clips = write_clips(tmp_path / "clips", P1="unsided")
    run(clips, tmp_path / "out", consented(clips), mirrored="unknown")
    (row,) = rows_in(tmp_path / "out")
    assert (row["status"], row["sided"]) == ("measured", "0")
    assert row["tilt_deg"] == row["turn_deg"] == ""
    assert (row["tilt_size_deg"], row["turn_size_high_deg"], row["chin_deg"]) == ("14.10", "19.70", "14.10")
    assert (row["steady_s"], row["spells"]) == ("12", "5")
    assert row["reason"] == "It is not known whether the picture is mirrored."


def test_again_in_another_order_and_under_other_names_is_the_same_table(tmp_path: Path) -> None:
    clips = write_clips(tmp_path / "clips", a="held one", b="lying", c="refuse", d="held two")
    decisions = consented(clips, a="Z", b="B", c="C", d="B")
    first = run(clips, tmp_path / "out", decisions)
    table = first.table.read_bytes()
    again = run(clips, tmp_path / "out", decisions)
    assert again.table.read_bytes() == table
    assert sum(outcome.skipped for outcome in again.outcomes) == 3
    for path in clips.iterdir():
        path.rename(path.with_name(f"{hash_of(path)[:4]}.MTS"))
    (clips / "a copy.mp4").write_text("held one")
    elsewhere = run(clips, tmp_path / "elsewhere", dict(reversed(decisions.items())), workers=2)
    assert elsewhere.table.read_bytes() == table
    assert [row["code"] for row in rows_in(tmp_path / "out")] == ["B", "B", "C", "Z"]


@pytest.mark.skipif(sys.platform == "win32", reason="nothing is killed that way there")
def test_killed_and_resumed_is_as_undisturbed(tmp_path: Path) -> None:
    clips = write_clips(tmp_path / "clips", a="held", b="meet begun go", c="lying")
    decisions, out = consented(clips), tmp_path / "out"
    code = (
        "import sys; from pathlib import Path; from tests.test_audit import consented, run;"
        "clips, out = map(Path, sys.argv[1:]); run(clips, out, consented(clips))"
    )
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen([sys.executable, "-c", code, str(clips), str(out)], cwd=ROOT, env=environment) as program:
        wait_until((clips / "begun").exists, 120)
        program.kill()
    assert [row["code"] for row in rows_in(out)] == ["a", "b", "c"]
    assert {row["reason"] for row in rows_in(out)} == {NOT_REACHED}
    assert len(list((out / RESULTS).glob("*.summary.json"))) == 1
    # What the clip waited for; neither is a clip.
    (clips / "begun").unlink()
    (clips / "go").mkdir()
    resumed = run(clips, out, decisions)
    (clips / "begun").unlink()
    assert [outcome.skipped for outcome in sorted(resumed.outcomes, key=lambda o: o.number)] == [True, False, False]
    whole = run(clips, tmp_path / "whole", decisions)
    assert resumed.table.read_bytes() == whole.table.read_bytes()


def test_stopped_by_hand_the_table_holds_what_was_done(tmp_path: Path) -> None:
    clips = write_clips(tmp_path / "clips", a="held", b="lying")

    def stop(outcome: object) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(clips, tmp_path / "out", consented(clips), on_outcome=stop)
    assert [(row["code"], row["reason"]) for row in rows_in(tmp_path / "out")] == [("a", ""), ("b", NOT_REACHED)]


def test_a_withdrawn_consent_takes_numbers_and_results_away(tmp_path: Path) -> None:
    clips, out = write_clips(tmp_path / "clips", a="held one", b="held two"), tmp_path / "out"
    decisions = consented(clips)
    run(clips, out, decisions)
    gone = hash_of(clips / f"b {CHILD_NAME}.mp4")
    other = out / RESULTS / "mine.summary.json"
    other.write_text("not of the audit")
    done = run(clips, out, decisions | {gone: Decision("b", "skipped for consent", "The consent was withdrawn on 2026-03-01.")})
    assert done.removed == 1
    assert not [path for path in out.rglob("*") if gone[:STEM_FIGURES] in path.name]
    assert other.exists()
    first, second = rows_in(out)
    assert (first["code"], first["tilt_deg"]) == ("a", "-14.10")
    assert {name: cell for name, cell in second.items() if cell} == {
        "code": "b", "sha256": gone[:8], "status": "skipped for consent", "reason": "The consent was withdrawn on 2026-03-01.",
    }  # fmt: skip
    assert done.outcomes[0].skipped
    # Given anew, it is measured anew.
    assert [o.skipped for o in sorted(run(clips, out, decisions).outcomes, key=lambda o: o.number)] == [True, False]


def test_withdrawn_numbers_leave_the_table_before_anything_is_measured(tmp_path: Path) -> None:
    clips, out = write_clips(tmp_path / "clips", a="held one", b="held two"), tmp_path / "out"
    decisions = consented(clips)
    run(clips, out, decisions)
    first = next(sha256 for sha256, said in decisions.items() if said.code == "a")
    seen = []
    run(clips, out, {first: decisions[first]}, on_outcome=lambda outcome: seen.append((out / TABLE_NAME).read_text()))
    assert seen[0].count("-14.10") == 0
    assert (out / TABLE_NAME).read_text().count("-14.10") == 1


@pytest.mark.parametrize("code", ["=1+1", "+cmd", "-a", "@x", '"a",b', "<b>&lt;", "$x$", "![](http://a)"])
def test_a_hostile_code_is_text(tmp_path: Path, code: str) -> None:
    clips = write_clips(tmp_path / "clips", a="held", b="refuse")
    conditions = Conditions(attention="=HYPERLINK(1)")
    run(clips, tmp_path / "out", consented(clips, a=code, b=code), conditions=conditions)
    for row in rows_in(tmp_path / "out"):
        assert row["code"].removeprefix("'") == code
        assert row["code"].startswith("'") == (code[0] in "=+-@")
        assert row["attention"] in ("", "'=HYPERLINK(1)")
    assert {row["attention"] for row in rows_in(tmp_path / "out")} == {"", "'=HYPERLINK(1)"}


def test_something_else_of_that_name_is_kept(tmp_path: Path) -> None:
    clips = write_clips(tmp_path / "clips", a="held")
    (tmp_path / TABLE_NAME).write_text("visit,result\n")
    with pytest.raises(OutputError, match=f"'{TABLE_NAME}' to be free; it holds something else and is kept"):
        run(clips, tmp_path, consented(clips))
    assert (tmp_path / TABLE_NAME).read_text() == "visit,result\n"
    assert not (tmp_path / RESULTS).exists()


def test_clips_in_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match="Expected clips in the folder; it holds none"):
        clips_in(tmp_path)
    for name in ("b.MP4", "a.rare", ".hidden.mp4", "notes.txt", "list.dat"):
        (tmp_path / name).write_text(name)
    (tmp_path / "deeper.mp4").mkdir()
    assert [clip.path.name for clip in clips_in(tmp_path, [tmp_path / "list.dat"])] == ["a.rare", "b.MP4"]
    assert clips_in(tmp_path)[0].sha256 == hash_of(tmp_path / "a.rare")
    with pytest.raises(ClipError, match="it cannot be read"):
        clips_in(tmp_path / "none")
    with pytest.raises(ClipError, match="came a network path"):
        clips_in(Path("//server/clips"))


def test_a_file_that_cannot_be_read_is_a_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clips = write_clips(tmp_path / "clips", a="held", b="held two")
    decisions, opened = consented(clips), Path.open

    def locked(path: Path, *arguments, **named):
        if path.name.startswith("b "):
            raise PermissionError(13, "Permission denied")
        return opened(path, *arguments, **named)

    with monkeypatch.context() as changed:
        changed.setattr(Path, "open", locked)
        found = clips_in(clips)
    assert [bool(clip.sha256) for clip in found] == [True, False]
    run_audit(found, decisions, tmp_path / "out", Settings(mirrored="no"), work=measure_by_word)
    unread, read = rows_in(tmp_path / "out")
    assert (unread["status"], unread["code"], unread["sha256"]) == ("not measured", "", "")
    assert "cannot be read" in unread["reason"]
    assert read["status"] == "measured"


FILES = {"a.mp4": "a" * 64, "b.mp4": "b" * 64, "Zoë.mp4": "e" * 64}


def test_a_list_of_consents(tmp_path: Path) -> None:
    path = tmp_path / "consents.csv"
    path.write_text(
        HEAD
        + "a.mp4,, P 1 ,2024-05-02,mother,\n"
        + f"another name.mp4,{'B' * 64},P2,2024,mother,2025-01-03\n"
        + "Zoe\u0308.mp4,,P3,2024-05,mother,2024-06\n"
        + "Zoe\u0308.mp4,,p3,2024-07,mother,\n"
        + f",{'c' * 64},P4,,mother,\n"
        + f",{'d' * 64},P5,2024,,\n"
        + f",{'f' * 64},P6,2024,mother,\n,{'f' * 64},P7,2024,mother,\n"
        + f",{'0' * 64},P8,2024,mother,\n,{'0' * 64},P9,2024,mother,2025\n"
        + f",{'9' * 64},P10,2024-05,mother,\n,{'9' * 64},P10,2024-05,mother,2024-06\n"
        + "not there.mp4,,P4,2024,mother,\n,,,,,\n"
    )
    assert decisions_of_list(path, FILES) == {
        "a" * 64: Decision("P 1", "allowed"),
        "b" * 64: Decision("P2", "skipped for consent", "The consent to an audit was withdrawn on 2025-01-03."),
        "e" * 64: Decision("P3", "allowed"),
        "c" * 64: Decision("P4", "skipped for consent", NOTHING_FOUND),
        "d" * 64: Decision("P5", "skipped for consent", NOTHING_FOUND),
        "f" * 64: Decision("P6 and P7", "not measured", SEVERAL_CODES),
        "9" * 64: Decision("P10", "skipped for consent", "The consent to an audit was withdrawn on 2024-06."),
        "0" * 64: Decision("P8 and P9", "skipped for consent", "The consent to an audit was withdrawn on 2025."),
    }
    path.write_bytes(b"\xef\xbb\xbf" + b"clip;code;given_on;by_whom;withdrawn_on\r\na.mp4;P1;2024;mother;\r\n")
    assert decisions_of_list(path, FILES) == {"a" * 64: Decision("P1", "allowed")}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + "a.mp4,,P1,2024,mother,yes\n", r"'c\.csv', line 2: Expected a date such as .*'yes' came"),
        (HEAD + "a.mp4,,P1,02.05.2024,mother,\n", "line 2: Expected a date"),
        (HEAD + "a.mp4,,P1,2024,mother,2023\n", "line 2: Expected a consent to be withdrawn after 2024; 2023"),
        (HEAD + "a.mp4,,P1,,mother,2023\n", "Put both in one line"),
        (HEAD + "a.mp4,,P1,2999,mother,\n", "the day of a consent lies in the past"),
        (HEAD + "a.mp4,,,2024,mother,\n", "line 2: Expected a code"),
        (HEAD + "a.mp4,,P\x07,2024,mother,\n", "line 2: Expected plain text as the code"),
        (HEAD + ",,P1,2024,mother,\n", "both are empty"),
        (HEAD + "a.mp4,abc,P1,2024,mother,\n", "Expected the SHA-256 of a file"),
        (HEAD + "a.mp4,,P1,2024,mother,,\n", "line 2: expected 6 cells"),
        (HEAD + "a.mp4,,P1,2024\n", "line 2: expected 6 cells"),
        ("clip,code,given_on,by_whom\n", "Expected the columns clip, sha256, .*others came: clip, code"),
        ("clip,code,given_on,by_whom,withdrawn_on,scope\n", "others came: .*scope"),
        ("code,given_on,by_whom,withdrawn_on\n", "Expected the columns"),
        ("clip,clip,code,given_on,by_whom,withdrawn_on\n", "Expected the columns"),
        ("", "others came: none"),
        ("\udcff", "cannot be read. Save it as CSV in UTF-8"),
        (HEAD + '"a.mp4,,P1\n', "as CSV; 'c.csv' is none"),
    ],
)
def test_a_list_that_is_understood_by_half_does_not_decide(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "c.csv"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(ConsentError, match=said):
        decisions_of_list(path, FILES)


def test_consents_of_the_records(tmp_path: Path) -> None:
    measured = made_measured()
    sha256 = measured.summary.clip.sha256
    day = PartialDate("2024-05-02")
    with open_records(tmp_path / "r.sqlite") as records:
        person = records.persons.add(Person("Quagga-17"))
        clip, _ = records.clips.keep(clip_of(person.id, measured), measured)
        assert decisions_of_records(records) == {sha256: Decision("Quagga-17", "skipped for consent", NOTHING_FOUND)}
        records.consents.add(Consent(person.id, None, "mother", day, frozenset({"care", "letter"})))
        assert decisions_of_records(records)[sha256].answer == "skipped for consent"
        records.consents.add(Consent(person.id, None, "mother", day, frozenset({"audit"})))
        assert decisions_of_records(records) == {sha256: Decision("Quagga-17", "allowed")}
        # One for the clip itself decides over those for all clips.
        records.consents.add(Consent(person.id, clip.id, "father", day, frozenset({"audit"}), PartialDate("2025-02")))
        (refused,) = decisions_of_records(records).values()
        assert (refused.answer, refused.reason) == ("skipped for consent", "The consent to an audit was withdrawn on 2025-02.")
        records.consents.add(Consent(person.id, clip.id, "mother", day, frozenset({"audit"})))
        assert decisions_of_records(records)[sha256].answer == "allowed"
        other = records.persons.add(Person("Okapi-3"))
        records.clips.keep(clip_of(other.id, measured), measured, is_of_both=True)
        assert decisions_of_records(records) == {
            sha256: Decision("Okapi-3 and Quagga-17", "skipped for consent", NOTHING_FOUND)
        }
        records.consents.add(Consent(other.id, None, "mother", day, frozenset({"audit"})))
        assert decisions_of_records(records) == {sha256: Decision("Okapi-3 and Quagga-17", "not measured", SEVERAL_CODES)}


def test_the_command_measures_nothing_without_consent(tmp_path: Path) -> None:
    clips = write_clips(tmp_path / "clips", P1="held", P2="held two")
    (tmp_path / "c.csv").write_text(HEAD + f"P2 {CHILD_NAME}.mp4,,P2,2024,mother,2025-01-03\n")
    command = [sys.executable, "-m", "posture.cli", "audit", str(clips), "--out", str(tmp_path / "out"), "--consents"]
    done = subprocess.run(
        [*command, str(tmp_path / "c.csv")], cwd=ROOT, capture_output=True, text=True, timeout=120, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "2 clips: 0 measured, 0 not measured, 2 skipped for consent." in done.stdout
    assert (
        f"skipped for consent: P1 {CHILD_NAME}.mp4 ({hash_of(clips / f'P1 {CHILD_NAME}.mp4')[:8]}). {NO_CONSENT.reason}"
        in done.stdout
    )
    assert re.search(r"P2 .*withdrawn on 2025-01-03", done.stdout)
    assert [row["code"] for row in rows_in(tmp_path / "out")] == ["", "P2"]
    assert not (tmp_path / "out" / RESULTS).exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["{clips}", "--out", "{clips}", "--consents", "{list}"], "another folder as --out"),
        (["{out}/results", "--out", "{out}", "--consents", "{list}"], "another folder as --out"),
        (["{clips}", "--out", "o", "--consents", "{list}", "--records", "{list}"], "--records or --consents; both came"),
        (["{clips}", "--out", "o"], "there are none. Say where the consents are"),
        (["{clips}", "--out", "o", "--consents", "{list}", "--upright", "up"], "Expected --upright"),
    ],
)
def test_arguments_that_do_not_fit(tmp_path: Path, arguments: list[str], said: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from click.testing import CliRunner

    from posture.cli import main

    monkeypatch.setattr("posture.records.store.records_path", lambda: tmp_path / "none.sqlite")
    monkeypatch.setattr("posture.batch.children.get_ready", lambda: None)
    monkeypatch.setattr("posture.cli.audit.progress_display", lambda: contextlib.nullcontext())
    clips, consents = write_clips(tmp_path / "clips", a="held"), tmp_path / "c.csv"
    consents.write_text(HEAD)
    write_clips(tmp_path / "results", a="held")
    done = CliRunner().invoke(main, ["audit", *(a.format(clips=clips, list=consents, out=tmp_path) for a in arguments)])
    assert done.exit_code == 2
    assert said in " ".join(done.output.split())


def test_the_command_asks_the_records(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from click.testing import CliRunner

    from posture.cli import main

    monkeypatch.setattr("posture.batch.children.get_ready", lambda: None)
    monkeypatch.setattr(
        "posture.audit.run.measure_clips", lambda jobs, *arguments, **named: tried.extend(jobs) or (j for j in ())
    )
    tried: list = []
    measured, path = made_measured(), tmp_path / "r.sqlite"
    monkeypatch.setattr(
        "posture.audit.run.sha256_of", lambda clip: measured.summary.clip.sha256 if "a" in clip.stem else "e" * 64
    )
    (tmp_path / "clips").mkdir()
    for name in ("a.mp4", "b.mp4"):
        (tmp_path / "clips" / name).touch()
    with open_records(path) as records:
        person = records.persons.add(Person("Quagga-17"))
        records.clips.keep(clip_of(person.id, measured), measured)
        records.consents.add(Consent(person.id, None, "mother", PartialDate("2024"), frozenset({"audit"})))
    command = ["audit", str(tmp_path / "clips"), "--out", str(tmp_path / "out"), "--records", str(path), "--upright", "0"]
    done = CliRunner().invoke(main, [*command, "--mirrored", "yes"])
    assert done.exit_code == 0, done.output
    assert [(job.path.name, job.label, job.settings) for job in tried] == [
        ("a.mp4", "Quagga-17", Settings(mirrored="yes", roll_deg=0.0))
    ]
    assert "skipped for consent: b.mp4" in done.output
