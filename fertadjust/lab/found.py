"""What is found in a laboratory's report: rows, faults, and questions that its reader has to be told."""

from __future__ import annotations

from dataclasses import dataclass, field

from fertadjust.errors import Fault


@dataclass(frozen=True, slots=True)
class Row:
    """One value of one sample.

    Attributes:
        line: 1-based line of the file, or None where there are none (JSON).
        column: header of the value's column as printed, or the JSON path.
        fields: text by field of `fertadjust.entry.RESULT_FIELDS`: ISO dates, plain numbers, one spelling of
            analytes and units; "block" only where a block column says it.
        names: every text by which the sample may be known, the grower's words first; each once.
        printed: the value as printed, with unit and analyte.
    """

    line: int | None
    column: str
    fields: dict[str, str]
    names: tuple[str, ...]
    printed: str


@dataclass(frozen=True, slots=True)
class Question:
    """Something that the report does not say and nobody should guess.

    Attributes:
        key: what `fertadjust.lab.profile.told` takes: "tissue", "units.no3-n", "columns.nitrate" ...
        text: the question in a grower's words.
        choices: answers accepted; () for free text.
        where: file and line, and the text that raised it.
    """

    key: str
    text: str
    choices: tuple[str, ...]
    where: str


@dataclass(frozen=True, slots=True)
class Report:
    """A report as read.

    Attributes:
        form: its form in words: "CSV, a row a sample".
        header: header cells as printed.
        rows: the values; may be incomplete while there are questions.
        faults: what cannot be used, each with its line.
        questions: at most one a key.
        passed_over: (line, why) of totals, repeated headers, text lines and samples without a value.
        unused: headers and analytes recognised and not used, or told to be ignored.
        empty: number of value cells with nothing in them.
    """

    form: str
    header: tuple[str, ...]
    rows: tuple[Row, ...]
    faults: tuple[Fault, ...]
    questions: tuple[Question, ...]
    passed_over: tuple[tuple[int | None, str], ...]
    unused: tuple[str, ...]
    empty: int


@dataclass(slots=True)
class Findings:
    """Collects a report while it is read.

    Attributes:
        name: the file's name.
        hopeless: whether a fault makes every row doubtful, so that none is handed on.
    """

    name: str
    rows: list[Row] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    questions: dict[str, Question] = field(default_factory=dict)
    passed_over: list[tuple[int | None, str]] = field(default_factory=list)
    unused: dict[str, None] = field(default_factory=dict)
    empty: int = 0
    hopeless: bool = False

    def fault(self, message: str, line: int | None = None, key: str = "") -> None:
        self.faults.append(Fault(message, self.name, line, key))

    def ask(self, key: str, text: str, choices: tuple[str, ...], line: int | None = None, saw: str = "") -> None:
        """Ask once for each key."""
        if key not in self.questions:
            where = self.name if line is None else f"{self.name}, line {line}"
            self.questions[key] = Question(key, text, choices, f"{where}: {saw}" if saw else where)

    def pass_over(self, line: int | None, why: str) -> None:
        self.passed_over.append((line, why))

    def leave(self, header: str) -> None:
        """Note a header or an analyte that is recognised and not used."""
        self.unused[header] = None

    def columns_open(self) -> bool:
        """Whether it is open what a column holds."""
        return any(key.startswith("columns.") for key in self.questions)

    def report(self, form: str, header: tuple[str, ...]) -> Report:
        """The report; no rows where a whole-file fault or the decimal mark leaves all of them in doubt."""
        doubtful = self.hopeless or "decimal" in self.questions
        return Report(
            form=form,
            header=header,
            rows=() if doubtful else tuple(self.rows),
            faults=tuple(sorted(dict.fromkeys(self.faults), key=lambda fault: fault.line or 0)),
            questions=tuple(self.questions.values()),
            passed_over=tuple(self.passed_over),
            unused=tuple(self.unused),
            empty=self.empty,
        )
