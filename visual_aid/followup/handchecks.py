"""Hand checks: what settles a finding with hands and tools, and what the figures found come to.

The checks themselves are data, in ``handchecks.toml``; its head says what each entry may hold.
"""

from __future__ import annotations

import datetime as dt
import functools
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any, Literal

from visual_aid.followup.units import QUANTITIES, UNITS, Measured, Quantity, quantity_of, read
from visual_aid.model import CHANGES, CUES, WEARS, Change, Cue, Sign, Wear

Verdict = Literal["within_limit", "beyond_limit", "cannot_settle"]
VERDICT_WORDS: Mapping[Verdict, str] = {
    "within_limit": "Within the limit stated",
    "beyond_limit": "Beyond the limit stated",
    "cannot_settle": "Cannot be settled",
}
CANNOT_TELL = "cannot tell"
"""An answer that every question with options takes."""

Answer = Measured | str


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do; ``caution`` is shown beside it, ``wait`` is seconds for a timer."""

    say: str
    caution: str = ""
    wait: float | None = None


@dataclass(frozen=True, slots=True)
class Input:
    """What the person notes down.

    Attributes
    ----------
    quantity : str or None
        What is measured, in one of ``units``; None for a question answered by one of ``options``.
    optional : bool
        Whether the check can be settled without it; its limits are then passed over.
    """

    id: str
    label: str
    quantity: Quantity | None = None
    units: tuple[str, ...] = ()
    options: tuple[str, ...] = ()
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Limit:
    """What an input has to keep to.

    Attributes
    ----------
    input : str
        The input that is judged.
    minus, apart_from : str or None
        Judge the input less this other one, or how far the two lie apart.
    at_most, at_least : Measured, str or None
        The bound: a figure, or the input that holds it, times ``share``.
    must_be : tuple of str
        The answers that keep to the limit; empty for a limit on a figure.
    maker_limit : str or None
        Input that takes the bound's place where it is given: the maker's figure goes first.
    otherwise : str
        What it means if the limit is not kept.
    """

    say: str
    source: str
    input: str
    minus: str | None = None
    apart_from: str | None = None
    at_most: Measured | str | None = None
    at_least: Measured | str | None = None
    share: float = 1.0
    must_be: tuple[str, ...] = ()
    maker_limit: str | None = None
    otherwise: Verdict = "beyond_limit"

    @property
    def inputs(self) -> tuple[str, ...]:
        """Inputs that have to be given for the limit to be judged."""
        bounds = (b for b in (self.at_most, self.at_least) if isinstance(b, str))
        return tuple(i for i in (self.input, self.minus, self.apart_from, *bounds) if i is not None)


@dataclass(frozen=True, slots=True)
class Check:
    """A hand check.

    Attributes
    ----------
    when : str
        When it applies, in words.
    cues, wears : tuple of str
        Kinds of findings that it settles.
    parts : tuple of str
        Words by which a component is known as one that it is for; empty for any component.
    """

    id: str
    title: str
    when: str
    cues: tuple[Cue | Change, ...]
    wears: tuple[Wear, ...]
    parts: tuple[str, ...]
    steps: tuple[Step, ...]
    inputs: tuple[Input, ...]
    limits: tuple[Limit, ...]

    def input(self, id: str) -> Input:  # noqa: A002  the name of the field
        """Give the input of that id.

        Raises
        ------
        KeyError
            There is none.
        """
        for i in self.inputs:
            if i.id == id:
                return i
        raise KeyError(id)


@dataclass(frozen=True, slots=True)
class Judged:
    """One limit and how the answers stand to it; ``found`` and ``bound`` in words for people."""

    say: str
    found: str
    bound: str
    source: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a check came to: the worst of its limits, and each of them."""

    verdict: Verdict
    judged: tuple[Judged, ...]

    @property
    def headline(self) -> str:
        """The outcome without its reasons."""
        return f"{VERDICT_WORDS[self.verdict]}."

    @property
    def say(self) -> str:
        """The outcome in one line, with what tipped it."""
        tipped = (j for j in self.judged if j.verdict == self.verdict)
        reasons = [f"{j.say} (found: {j.found})" if j.bound else j.found for j in tipped]
        if self.verdict == "within_limit" or not reasons:
            return self.headline
        return f"{VERDICT_WORDS[self.verdict]}: {'; '.join(reasons)}."


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """A check that a person has carried out: what was noted down, the outcome, initials and time."""

    check: str
    title: str
    answers: Mapping[str, Answer]
    outcome: Outcome
    initials: str
    at: dt.datetime
    note: str = ""


@functools.cache
def checks() -> Mapping[str, Check]:
    """Give the checks that come with the program, by id and in the order of their file."""
    text = (resources.files("visual_aid.followup") / "handchecks.toml").read_text(encoding="utf-8")
    return {check.id: check for check in load_checks(text, "handchecks.toml")}


def load_checks(text: str, name: str) -> tuple[Check, ...]:
    """Read check definitions.

    Parameters
    ----------
    text : str
        TOML as described at the head of ``handchecks.toml``.
    name : str
        What messages call the file.

    Raises
    ------
    ValueError
        A definition is wrong; one line with the file, the check and the mend.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{name}: {error}") from None
    loaded: dict[str, Check] = {}
    for number, row in enumerate(data.get("check", []), 1):
        where = f"{name}, check {row.get('id', number)}"
        try:
            check = _check(row)
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            why = f"{error.args[0]!r} is missing or unknown" if isinstance(error, KeyError) else error
            raise ValueError(f"{where}: {why}") from None
        if check.id in loaded:
            raise ValueError(f"{where}: the id is taken by another check, give it one of its own")
        loaded[check.id] = check
    if not loaded:
        raise ValueError(f"{name}: holds no check, begin one with [[check]]")
    return tuple(loaded.values())


def checks_for(among: Iterable[Check], sign: Sign, *, component: str = "") -> tuple[Check, ...]:
    """Choose the checks that settle a finding.

    Parameters
    ----------
    sign : str
        The cue or kind of wear that was found.
    component : str
        Where it was found, as the person calls it. Checks of that part come first; those of another part
        are left out unless the component is not given.
    """
    settling = [check for check in among if sign in check.cues or sign in check.wears]
    named = [check for check in settling if _names(component, check.parts)]
    general = [check for check in settling if not check.parts and check not in named]
    others = [check for check in settling if check not in named and check not in general]
    return (*named, *general) if named or (component and general) else (*general, *others)


def read_answers(
    check: Check, texts: Mapping[str, str], units: Mapping[str, str] | None = None
) -> dict[str, Answer]:
    """Read what a person typed or chose; what is blank is left out.

    Parameters
    ----------
    texts : mapping
        What was typed or chosen, by the id of the input.
    units : mapping, optional
        The unit meant where none is typed, by the id of the input; by default each input's first.

    Raises
    ------
    ValueError
        An answer is no figure of the input's quantity, none of its options, or to no input of the check.
    """
    answers: dict[str, Answer] = {}
    for id_, text in texts.items():
        if not text.strip():
            continue
        try:
            wanted = check.input(id_)
        except KeyError:
            raise ValueError(f"{check.title}: there is no input {id_!r}") from None
        try:
            answers[id_] = _answer(wanted, text, (units or {}).get(id_))
        except ValueError as error:
            raise ValueError(f"{wanted.label}: {error}") from None
    return answers


def settle(check: Check, answers: Mapping[str, Answer]) -> Outcome:
    """Compare what was found with the limits.

    One limit that is not kept makes the check beyond the limit stated, whatever is missing. Otherwise a
    missing answer, or one of ``CANNOT_TELL``, leaves the check unsettled.
    """
    judged = []
    for limit in check.limits:
        missing = [i for i in limit.inputs if answers.get(i, CANNOT_TELL) == CANNOT_TELL]
        if any(i not in answers and check.input(i).optional for i in missing):
            continue
        if missing:
            found = "; ".join(_missing(check.input(i), answers) for i in missing)
            judged.append(Judged(limit.say, found, "", limit.source, "cannot_settle"))
        else:
            judged.append(_judge(limit, answers))
    worst: Verdict = "within_limit" if judged else "cannot_settle"
    for verdict in ("cannot_settle", "beyond_limit"):
        if any(j.verdict == verdict for j in judged):
            worst = verdict
    return Outcome(worst, tuple(judged))


def complete(
    check: Check, answers: Mapping[str, Answer], initials: str, at: dt.datetime, note: str = ""
) -> CheckRecord:
    """Make the record of a check that was carried out.

    Raises
    ------
    ValueError
        The initials are blank, or the time has no zone.
    """
    if not initials.strip():
        raise ValueError(f"{check.title}: initials are missing, say who carried it out")
    if at.tzinfo is None:
        raise ValueError(f"{check.title}: the time {at} has no zone")
    return CheckRecord(
        check.id, check.title, dict(answers), settle(check, answers), initials.strip(), at, note
    )


def _names(component: str, parts: Iterable[str]) -> bool:
    # From the start of a word, so that an air spring is not found in a repaired rod.
    return any(re.search(rf"\b{re.escape(part)}", component.casefold()) for part in parts)


def _answer(wanted: Input, text: str, unit: str | None) -> Answer:
    if wanted.quantity is not None:
        measured = read(text, wanted.quantity, unit or wanted.units[0])
        if measured.unit not in wanted.units:
            raise ValueError(f"{measured.unit} is not used here: {', '.join(wanted.units)}")
        return measured
    answer = text.strip().casefold()
    if answer != CANNOT_TELL and answer not in wanted.options:
        raise ValueError(f"{text!r} is none of {', '.join((*wanted.options, CANNOT_TELL))}")
    return answer


def _missing(wanted: Input, answers: Mapping[str, Answer]) -> str:
    return f"{wanted.label}: {CANNOT_TELL if wanted.id in answers else 'not given'}"


def _judge(limit: Limit, answers: Mapping[str, Answer]) -> Judged:
    found = answers[limit.input]
    if isinstance(found, str):
        kept = found in limit.must_be
        return Judged(limit.say, found, " or ".join(limit.must_be), limit.source, _verdict(limit, kept))

    other = answers.get(limit.minus or limit.apart_from or "")
    if isinstance(other, Measured):
        difference = found.value - other.to(found.unit).value
        found = Measured(abs(difference) if limit.apart_from else difference, found.unit)
    source, bound = limit.source, limit.at_most or limit.at_least
    if limit.maker_limit in answers:
        source, bound = "the maker's figure, as entered", limit.maker_limit
    if isinstance(bound, str):
        bound = answers[bound]
    assert isinstance(bound, Measured)  # a limit's inputs are checked on loading
    bound = Measured(bound.value * limit.share, bound.unit)

    value, edge = found.to(bound.unit).value, bound.value
    # Figures on the limit keep to it, also when changing units leaves the last bit off.
    slack = 1e-9 * max(abs(value), abs(edge))
    kept = value <= edge + slack if limit.at_most is not None else value >= edge - slack
    word = "at most" if limit.at_most is not None else "at least"
    return Judged(limit.say, str(found), f"{word} {bound}", source, _verdict(limit, kept))


def _verdict(limit: Limit, kept: bool) -> Verdict:
    return "within_limit" if kept else limit.otherwise


def _check(row: dict[str, Any]) -> Check:
    _only(row, "id", "title", "when", "cues", "wears", "parts", "step", "input", "limit")
    inputs = tuple(_input(i) for i in row["input"])
    by_id = {i.id: i for i in inputs}
    if len(by_id) < len(inputs):
        raise ValueError("two inputs have the same id")
    for field_, known in (("cues", (*CUES, *CHANGES)), ("wears", WEARS)):
        for kind in row.get(field_, ()):
            if kind not in known:
                raise ValueError(f"{field_}: {kind!r} is none of {', '.join(known)}")
    return Check(
        id=_text(row, "id"),
        title=_text(row, "title"),
        when=_text(row, "when"),
        cues=tuple(row.get("cues", ())),
        wears=tuple(row.get("wears", ())),
        parts=tuple(part.casefold() for part in row.get("parts", ())),
        steps=tuple(_step(s) for s in row["step"]),
        inputs=inputs,
        limits=tuple(_limit(r, by_id) for r in row["limit"]),
    )


def _step(row: dict[str, Any]) -> Step:
    _only(row, "say", "caution", "wait")
    wait = read(row["wait"], "time", "s").to("s").value if "wait" in row else None
    return Step(_text(row, "say"), row.get("caution", ""), wait)


def _input(row: dict[str, Any]) -> Input:
    _only(row, "id", "label", "quantity", "units", "options", "optional")
    quantity = row.get("quantity")
    if quantity is not None and quantity not in QUANTITIES:
        raise ValueError(f"input {row['id']}: {quantity!r} is none of {', '.join(QUANTITIES)}")
    options = () if quantity else tuple(row.get("options", ("yes", "no")))
    units = tuple(row.get("units", UNITS[quantity])) if quantity else ()
    for unit in units:
        if quantity_of(unit) != quantity:
            raise ValueError(f"input {row['id']}: {unit} does not measure {quantity}")
    return Input(_text(row, "id"), _text(row, "label"), quantity, units, options, row.get("optional", False))


def _limit(row: dict[str, Any], inputs: Mapping[str, Input]) -> Limit:
    own = ("input", "say", "source", "minus", "apart_from", "at_most", "at_least", "share", "must_be")
    _only(row, *own, "maker_limit", "otherwise")
    judged = inputs[row["input"]]
    if len({"at_most", "at_least", "must_be"} & row.keys()) != 1:
        raise ValueError(f"limit on {judged.id}: give one of at_most, at_least, must_be")
    if ("must_be" in row) == (judged.quantity is not None):
        raise ValueError(f"limit on {judged.id}: must_be is for questions, at_most and at_least for figures")
    must_be = row.get("must_be", ())
    must_be = (must_be,) if isinstance(must_be, str) else tuple(must_be)
    for answer in must_be:
        if answer not in judged.options:
            raise ValueError(f"limit on {judged.id}: {answer!r} is none of {', '.join(judged.options)}")
    if row.get("otherwise", "beyond_limit") not in ("beyond_limit", "cannot_settle"):
        raise ValueError(f"limit on {judged.id}: otherwise is beyond_limit or cannot_settle")
    for key in ("minus", "apart_from", "maker_limit"):
        if key in row and inputs[row[key]].quantity != judged.quantity:
            raise ValueError(f"limit on {judged.id}: {key} is of another quantity")
    return Limit(
        say=_text(row, "say"),
        source=_text(row, "source"),
        input=judged.id,
        minus=row.get("minus"),
        apart_from=row.get("apart_from"),
        at_most=_bound(row.get("at_most"), judged, inputs),
        at_least=_bound(row.get("at_least"), judged, inputs),
        share=float(row.get("share", 1)),
        must_be=must_be,
        maker_limit=row.get("maker_limit"),
        otherwise=row.get("otherwise", "beyond_limit"),
    )


def _bound(text: str | None, judged: Input, inputs: Mapping[str, Input]) -> Measured | str | None:
    if text is None or judged.quantity is None:
        return None
    if text not in inputs:
        return read(text, judged.quantity, "")
    if inputs[text].quantity != judged.quantity:
        raise ValueError(f"limit on {judged.id}: {text} is of another quantity")
    return text


def _text(row: Mapping[str, Any], key: str) -> str:
    text = row[key]
    if not isinstance(text, str) or not text.strip():
        raise ValueError(f"{key} is empty or no text")
    return text


def _only(row: Mapping[str, Any], *known: str) -> None:
    for key in row:
        if key not in known:
            raise ValueError(f"{key!r} is unknown, the fields are {', '.join(known)}")
