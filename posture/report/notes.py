"""What the paper for the notes is written from: plain values that a person, a record or a command line gives."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from matplotlib.figure import Figure

from posture.clinic.clips import read_clips
from posture.clinic.findings import Findings
from posture.clinic.hint import Hint
from posture.clinic.outcome import Suspected
from posture.clinic.sentences import CAUTIONS
from posture.clinic.urgency import urgency_of
from posture.report.free_text import show_text
from posture.summary.record import Summary

CODE_TEXT, HEAD_TEXT = 50, 110
"""Letters of a code, and of a free text that stands among others in a line."""


@dataclass(frozen=True)
class Notes:
    """All that one page for the notes says of one child; what is None was not entered.

    `code` is the clinic's, never a name; `born` month and year as entered; `measured_on`, `question`, `suspected_by`, `examiner`,
    `eye_estimate` (the examiner's own, by eye) and `device` (that filmed) are free text and are printed as they stand. `change` and
    `events` are lines of text; `course` is a figure over time, which goes on a second page.
    """

    summaries: tuple[Summary, ...]
    code: str | None = None
    born: str | None = None
    age_months: int | None = None
    measured_on: str | None = None
    suspected: Suspected = "unknown"
    suspected_by: str | None = None
    question: str | None = None
    examiner: str | None = None
    eye_estimate: str | None = None
    device: str | None = None
    hint: Hint | None = None
    findings: Findings | None = None
    change: tuple[str, ...] = ()
    course: Figure | None = None
    events: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.summaries:
            raise ValueError("Expected at least one summary for the notes; none came. Measure a clip first.")

    @cached_property
    def main(self) -> Summary:
        """The clip that counts: as the hint chooses it, else the first."""
        return read_clips(self.summaries, self.findings or Findings()).main or self.summaries[0]

    @property
    def others(self) -> tuple[Summary, ...]:
        """The other clips, such as those with an eye covered."""
        return tuple(summary for summary in self.summaries if summary is not self.main)

    @property
    def sided(self) -> bool:
        """Whether right and left are known of the clip that counts; else no side is printed, also of what was entered."""
        return self.main.sided

    @property
    def age(self) -> int | None:
        """Age in months when filmed, by the clip, else as entered here or among the findings."""
        entered = self.findings.age_months if self.findings else None
        ages = (self.main.conditions.age_months, self.age_months, entered)
        return next((age for age in ages if age is not None), None)

    @property
    def urgent(self) -> list[str]:
        """What is read before everything else, in the order in which it is; empty where nothing is urgent."""
        if self.hint is None:
            found = urgency_of(self.findings or Findings())
            return [] if found.speed is None else [CAUTIONS[found.speed].text.format(reasons="; ".join(found.reasons))]
        first = [text for text in self.hint.cautions if text.startswith("Urgent") or text == CAUTIONS["do not move"].text]
        if self.hint.urgency is not None:
            first += [text for text in self.hint.cautions if text == CAUTIONS["not stated"].text]
        return first

    @property
    def flags_asked(self) -> bool:
        """Whether the red flags were asked."""
        return self.findings is not None and self.findings.red_flags is not None

    @property
    def further_cautions(self) -> list[str]:
        """The cautions of the hint that do not stand at the head of the page nor in its disclaimer."""
        said = {*self.urgent, CAUTIONS["red flags"].text, CAUTIONS["screening"].text}
        return [text for text in (self.hint.cautions if self.hint else []) if text not in said]


def shortened(notes: Notes, longest: int) -> Notes:
    """The notes with every free text fit to be printed and cut; what it was cut from ends in "[...]".

    Parameters
    ----------
    notes : Notes
    longest : int
        Letters of a free text; what stands in the head of the page is shorter still.
    """

    def cut(text: str | None, most: int = longest) -> str | None:
        return text and show_text(text, min(most, longest))

    def cut_conditions(summary: Summary) -> Summary:
        given = summary.conditions
        names = ("filmed_on", "filmed_on_source", "correction", "drops", "attention", "examiner")
        texts = {name: cut(getattr(given, name), HEAD_TEXT) for name in names}
        return summary.model_copy(update={"conditions": given.model_copy(update=texts)})

    return replace(
        notes,
        summaries=tuple(map(cut_conditions, notes.summaries)),
        code=cut(notes.code, CODE_TEXT),
        born=cut(notes.born, HEAD_TEXT),
        measured_on=cut(notes.measured_on, HEAD_TEXT),
        examiner=cut(notes.examiner, HEAD_TEXT),
        suspected_by=cut(notes.suspected_by),
        question=cut(notes.question),
        eye_estimate=cut(notes.eye_estimate),
        device=cut(notes.device),
        change=tuple(cut(text) or "" for text in notes.change),
        events=tuple(cut(text, HEAD_TEXT) or "" for text in notes.events),
    )


def say_age(months: int) -> str:
    """An age in years and months.

    Parameters
    ----------
    months : int
    """
    years, rest = divmod(months, 12)
    parts = [f"{n} {unit}{'' if n == 1 else 's'}" for n, unit in ((years, "year"), (rest, "month")) if n]
    return " ".join(parts) or "under a month"
