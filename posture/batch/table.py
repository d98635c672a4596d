"""The results of several clips side by side: as text for a terminal or a log, and as a file for a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from posture.batch.clips import Outcome
from posture.batch.earlier import SUMMARY_ENDING
from posture.errors import OutputError
from posture.summary.files import write_whole
from posture.summary.record import Interval, Summary
from posture.summary.words import say_angle, say_interval, say_size

RESULTS_NAME = "results.csv"

ANGLES = ("tilt", "turn", "chin")

COLUMNS = (
    "clip", "label", "sha256", "measured",
    *(f"{angle}{part}_deg" for angle in ANGLES for part in ("", "_low", "_high")),
    *(f"{angle}_size{part}_deg" for angle in ANGLES[:2] for part in ("", "_low", "_high")),
    "steady_s", "reason",
)  # fmt: skip
"""Of results.csv. Sizes stand in place of tilt and turn while it is not known whether the picture is mirrored."""

NOT_MEASURED = "not measured"

_FORMULA = re.compile(r"^[=+\-@\t\r]")
_STEADY = re.compile(r"([\d.]+) s of steady time in (\d+) spell")
_GAP = "  "


def results_table(outcomes: Sequence[Outcome]) -> str:
    """The results as lines of text, one a clip in the order given, with the counts below.

    Parameters
    ----------
    outcomes : sequence of Outcome

    Returns
    -------
    str
        Without a side while it is not known whether the picture is mirrored. Equal for results measured now and earlier.
    """
    rows = [("clip", *ANGLES, "steady", "not measured because")]
    rows += [(clip_name(o), *_cells(o.summary), _reason(o)) for o in outcomes]
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = [_GAP.join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join([*lines, "", _counts(outcomes)])


def results_csv(outcomes: Iterable[Outcome]) -> str:
    """The results as CSV: no path, numbers in degrees with their signs, an interval in low and high.

    Parameters
    ----------
    outcomes : iterable of Outcome

    Returns
    -------
    str
    """
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for outcome in outcomes:
        writer.writerow(_numbers(outcome.summary) | _texts(outcome))
    return text.getvalue()


def write_results_csv(folder: Path, outcomes: Iterable[Outcome]) -> Path:
    """Write results.csv into a folder, whole or not at all.

    Parameters
    ----------
    folder : Path
    outcomes : iterable of Outcome

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        If it cannot be written, or a file of that name is not one of ours.
    """
    path = folder / RESULTS_NAME
    check_free(path, f"{COLUMNS[0]},")
    write_whole(path, results_csv(outcomes))
    return path


def check_free(path: Path, head: str) -> None:
    """Refuse to write a table over something else.

    Parameters
    ----------
    path : Path
    head : str
        With which a table of ours begins.

    Raises
    ------
    OutputError
    """
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            is_ours = file.read(len(head)) == head
    except FileNotFoundError:
        is_ours = True
    except OSError:
        is_ours = False
    if not is_ours:
        raise OutputError(f"Expected '{path.name}' to be free; it holds something else and is kept. Choose another --out.")


def clip_name(outcome: Outcome) -> str:
    """What to call a clip: the stem of its results, else its file; nothing that a terminal would obey."""
    name = outcome.paths[1].name.removesuffix(SUMMARY_ENDING) if outcome.paths else outcome.job.path.name
    return printable(name)


def printable(text: str) -> str:
    """A text with a question mark in place of what has no picture, such as the control of a terminal."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _angles(summary: Summary | None) -> dict[str, Interval | None]:
    """Tilt, turn and chin of the habitual posture with sides."""
    held = summary.habitual if summary else None
    return {"tilt": held.tilt_deg, "turn": held.turn_deg, "chin": held.chin_deg} if held else {}


def _sizes(summary: Summary | None) -> dict[str, Interval | None]:
    """Sizes of tilt and turn while no side is known."""
    unsided = summary.unsided if summary else None
    return {"tilt": unsided.tilt_size_deg, "turn": unsided.turn_size_deg} if unsided else {}


def _cells(summary: Summary | None) -> tuple[str, str, str, str]:
    """Tilt, turn, chin and steady time of a row of the table."""
    said = dict.fromkeys(ANGLES, NOT_MEASURED)
    said |= {name: say_size(size).replace(" degrees", "") for name, size in _sizes(summary).items() if size}
    if summary and summary.unsided:
        said["chin"] = _say("chin", summary.unsided.chin_deg)
    said |= {name: _say(name, angle) for name, angle in _angles(summary).items() if angle}
    steady_s = _steady_s(summary)
    return said["tilt"], said["turn"], said["chin"], f"{steady_s} s" if steady_s else "-"


def _say(name: str, angle: Interval) -> str:
    """An angle with its interval, short."""
    words = say_angle(name, angle).replace("the child's", "the").removeprefix("chin ")
    words = re.sub(" degrees?", "", words)
    return f"{words} ({say_interval(name, angle)})"


def steady_of(summary: Summary) -> tuple[str, str] | None:
    """Whole seconds of steady time and the number of spells; None where the record holds none."""
    if summary.habitual:
        return f"{summary.habitual.steady_s:.0f}", str(summary.habitual.spells)
    # Without a habitual posture with sides only the check says it.
    told = (_STEADY.search(check.text) for check in summary.checks if check.name == "steady time")
    return next(((f"{float(match[1]):.0f}", match[2]) for match in told if match), None)


def _steady_s(summary: Summary | None) -> str:
    """Whole seconds of steady time; nothing where there is none."""
    steady = steady_of(summary) if summary else None
    return steady[0] if steady else ""


def _reason(outcome: Outcome) -> str:
    """Why something was not measured: the error, or the first sentences of the checks that say so."""
    summary = outcome.summary
    if summary is None:
        return printable(str(outcome.error))
    return why_not_all(summary)


def why_not_all(summary: Summary) -> str:
    """The first sentences of the checks that say why something was not measured."""
    reasons = [check for check in summary.checks if check.level == "fail"]
    if summary.habitual is None and not reasons:
        reasons = [check for check in summary.checks if check.name == "one posture"]
    if not summary.sided:
        reasons += [check for check in summary.checks if check.name == "mirroring"]
    return " ".join(f"{check.text.split('. ')[0].rstrip('.')}." for check in reasons)


def _counts(outcomes: Sequence[Outcome]) -> str:
    """How many clips came to what."""
    read = [o.summary for o in outcomes if o.summary]
    held = sum(bool(s.habitual or s.unsided) for s in read)
    n = len(outcomes)
    return (
        f"{n} clip{'' if n == 1 else 's'}: {held} with a habitual posture, {len(read) - held} without one,"
        f" {n - len(read)} without a result."
        " Angles in degrees; right and left are the child's own."
    )


def _kind(summary: Summary | None) -> str:
    """What was measured, in a word."""
    if summary is None:
        return "no"
    if summary.habitual or summary.unsided:
        return "habitual"
    if any(check.name == "one posture" for check in summary.checks):
        return "two postures"
    return "moment" if summary.moment else "nothing"


def _numbers(summary: Summary | None) -> dict[str, str]:
    """The cells of results.csv that hold numbers; two decimals, as in the record."""
    cells = {"steady_s": _steady_s(summary)}
    angles = {f"{name}{{}}_deg": angle for name, angle in _angles(summary).items()}
    angles |= {f"{name}_size{{}}_deg": size for name, size in _sizes(summary).items()}
    if summary and summary.unsided:
        angles["chin{}_deg"] = summary.unsided.chin_deg
    for column, angle in angles.items():
        if angle:
            values = {"": angle.value, "_low": angle.low, "_high": angle.high}
            cells |= {column.format(part): f"{value:.2f}" for part, value in values.items()}
    return cells


def _texts(outcome: Outcome) -> dict[str, str]:
    """The cells of results.csv that hold text, none of which a spreadsheet takes for a formula."""
    summary = outcome.summary
    cells = {
        "clip": clip_name(outcome),
        "label": printable((summary.clip.label if summary else outcome.job.label) or ""),
        "sha256": summary.clip.sha256[:8] if summary else "",
        "measured": _kind(summary),
        "reason": _reason(outcome),
    }
    return {name: f"'{text}" if _FORMULA.match(text) else text for name, text in cells.items()}
