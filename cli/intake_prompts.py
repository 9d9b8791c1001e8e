"""Asking one question in the terminal and turning what is typed into changes of the case file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from ..engine.diagnostics.nearest import called, fitting, nearest
from ..engine.explain.questions import PARTS, SCAN
from ..engine.model.answers import ACTION_WORDS, DAMAGE
from ..engine.model.case import Case
from ..engine.model.catalogue import FactSpec, Part
from ..engine.model.plan import Question
from ..engine.model.program import Program
from ..engine.model.record import dataclass, field, replace
from ..engine.render.intake import ask_text, choices_text
from ..engine.render.plain import Page, clean
from .case_text import Change

LONGEST = 2000
SECTION_OF = {"lookup": "lookup", "scan_tech": "scan", "blueprinter": "teardown", "technician": "teardown"}
NO_OTHERS: Mapping[str, tuple[str, ...]] = MappingProxyType({})
SPECIAL = {"": "-", "-": "-", "?": "?", "a": "a", "b": "b", "q": "q"}


class StoppedError(Exception):
    """Nobody answers any more: the input is at its end."""


class PressedError(Exception):
    """A key instead of an answer: - not known yet, ? help, a add a part, b back, q stop."""

    def __init__(self, key: str) -> None:
        super().__init__(key)
        self.key = key


class WrongError(Exception):
    """What was typed is no answer; the text says why."""


@dataclass(slots=True)
class Dialogue:
    """The two ends of the talk. What a pipe answers is echoed, so that the session reads whole."""

    page: Page
    echo: bool = field(default_factory=lambda: not sys.stdin.isatty())

    def say(self, text: str) -> None:
        """Show text."""
        sys.stdout.write(text + "\n")

    def line(self, prompt: str) -> str:
        """One line as typed. StoppedError at the end of the input."""
        sys.stdout.write(prompt)
        sys.stdout.flush()
        text = sys.stdin.readline()
        if not text.endswith("\n") and not text:
            sys.stdout.write("\n")
            raise StoppedError
        if self.echo:
            sys.stdout.write(clean(text.strip())[:LONGEST] + "\n")
        return clean(text.strip())

    def answer(self, prompt: str, take: Callable[[str], Any]) -> Any:
        """What `take` makes of a typed line, asked again while it refuses. PressedError for a key."""
        while True:
            text = self.line(f"{prompt}> ")
            if text.lower() in SPECIAL:
                raise PressedError(SPECIAL[text.lower()])
            try:
                if len(text) > LONGEST:
                    raise WrongError("that is too long")
                return take(text)
            except WrongError as wrong:
                self.say(self.page.wrap(str(wrong), indent=2))

    def or_unknown(self, prompt: str, take: Callable[[str], Any]) -> Any:
        """As `answer`; None for "not known yet"."""
        while True:
            try:
                return self.answer(prompt, take)
            except PressedError as pressed:
                if pressed.key == "-":
                    return None
                if pressed.key != "?":
                    raise
                self.say("  the numbers or names above; Enter: not known yet; b: back; q: stop")


def chosen(text: str, choices: Mapping[str, str], also: Mapping[str, tuple[str, ...]] = NO_OTHERS) -> str:
    """The choice meant by a number or a piece of one of its names. WrongError when none or several fit."""
    word = text.strip().lower()
    ids = list(choices)
    if word.isdecimal() and 1 <= int(word[:6]) <= len(ids):
        return ids[int(word) - 1]
    names = {
        id_: tuple(n.lower() for n in (id_, id_.replace("_", " "), title, *also.get(id_, ())))
        for id_, title in choices.items()
    }
    tests: tuple[Callable[[str], bool], ...] = (
        lambda n: n == word,
        lambda n: n.startswith(word),
        lambda n: word in n,
    )
    for test in tests:
        fit = [id_ for id_, known in names.items() if any(test(n) for n in known)]
        if len(fit) == 1:
            return fit[0]
        if fit and word:
            shown = ", ".join(choices[f] for f in fit[:4]) + (", ..." if len(fit) > 4 else "")
            raise WrongError(f"`{text}` fits several: {shown}")
    hint = nearest(word, [n for known in names.values() for n in known])
    raise WrongError(f"`{text}` is none of them" + (f"; did you mean `{hint}`?" if hint else ""))


def some_of(
    text: str, choices: Mapping[str, str], also: Mapping[str, tuple[str, ...]] = NO_OTHERS
) -> list[str]:
    """Several choices, in the order of the vocabulary; 0 is none of them."""
    if text.strip() == "0":
        return []
    pieces = [p for p in text.split(",") if p.strip()]
    if all(p.isdecimal() for p in text.replace(",", " ").split()):
        pieces = text.replace(",", " ").split()
    found = {id_ for piece in pieces for id_ in _one_or_words(piece, choices, also)}
    if not found:
        raise WrongError("nothing named; 0 is none of them")
    return [id_ for id_ in choices if id_ in found]


def _one_or_words(piece: str, choices: Mapping[str, str], also: Mapping[str, tuple[str, ...]]) -> list[str]:
    """One choice, or several said without commas between (`rear left` of the sides)."""
    try:
        return [chosen(piece, choices, also)]
    except WrongError:
        words = [w for w in piece.replace(";", " ").split() if w.lower() != "and"]
        if len(words) < 2:
            raise
        return [chosen(word, choices, also) for word in words]


@dataclass(frozen=True, slots=True)
class Asker:
    """Asks the questions of one program; `roles` say who answers, and so in which section answers go."""

    dialogue: Dialogue
    program: Program
    roles: tuple[str, ...]

    def shown(self, question: Question, case: Case) -> Question:
        """The question as asked; where the answer names systems, those that may be there are the choices."""
        spec = self.program.facts.get(question.fact)
        if spec is None or "*" not in spec.values:
            return question
        there = {
            s: x.title for s, x in self.program.systems.items() if "yes" in case.state(("fitted", s)).value
        }
        return replace(question, choices=there)

    def ask(self, question: Question, left: int) -> list[Change]:
        """The changes an answer asks for; none when it turned out not to be known. PressedError for a key."""
        spec = self.program.facts.get(question.fact)
        many = question.fact.startswith("fitted.") or (spec is not None and spec.type == "set")
        form = _form(spec) if spec is not None else ""
        if question.fact == PARTS:
            form = "a: add a part to the list first"
        self.dialogue.say(ask_text(question, left, many, form, self.dialogue.page))
        if question.fact.startswith("fitted."):
            return self._fitted(question.choices)
        if spec is None:
            method = self.dialogue.answer("", lambda t: chosen(t, question.choices))
            system = question.fact.partition(".")[2]
            return [Change(("lookup", "methods", system), method, self.program.systems[system].title)]
        path = (self._section(spec), spec.id)
        if spec.type == "set":
            return [
                Change(
                    path,
                    self.dialogue.answer("", lambda t: some_of(t, question.choices, self._systems)),
                    spec.title,
                )
            ]
        if spec.type != "choice":
            return [Change(path, self.dialogue.answer("", lambda t: quantity(t, spec)), spec.title)]
        value = self.dialogue.answer("", lambda t: chosen(t, question.choices))
        change = Change(path, value, spec.title)
        return self._scanned(change) if spec.id == SCAN and value in ("done", "partial") else [change]

    @property
    def _systems(self) -> Mapping[str, tuple[str, ...]]:
        return called(self.program.systems)

    def _section(self, spec: FactSpec) -> str:
        wanted = [SECTION_OF.get(role, "intake") for role in self.roles if role in spec.who]
        return next((s for s in wanted if s in spec.sections), spec.sections[0])

    def _fitted(self, choices: Mapping[str, str]) -> list[Change]:
        yes = self.dialogue.answer("", lambda t: some_of(t, choices, self._systems))
        no = [s for s in choices if s not in yes]
        if yes and no:
            self.dialogue.say(
                f"  and the other {len(no)}?" if len(no) > 1 else f"  and the {choices[no[0]]}?"
            )
            rest = {"no": "not fitted", "unknown": "not known yet"}
            self.dialogue.say("\n".join(choices_text(rest, self.dialogue.page)))
            if self.dialogue.or_unknown("", lambda t: chosen(t, rest)) != "no":
                no = []
        found = {"yes": yes, "no": no}
        return [
            Change(("fitted", word), add=tuple((s, self.program.systems[s].title) for s in systems))
            for word, systems in found.items()
            if systems
        ]

    def _scanned(self, change: Change) -> list[Change]:
        """A scan counts as done with its codes only: a system nobody lists has none."""
        systems = {s: x.title for s, x in self.program.systems.items()}
        self.dialogue.say("  Which systems have a trouble code? Names or ids with commas between; 0: none.")
        codes = self.dialogue.or_unknown("codes", lambda t: some_of(t, systems, self._systems))
        if codes is None:
            if change.value == "done":
                self.dialogue.say(
                    self.dialogue.page.wrap(
                        "not written: it counts as done once its codes are known", indent=2
                    )
                )
                return []
            return [change]
        more = Change(("scan", "codes", "yes"), add=tuple((s, systems[s]) for s in codes))
        return [change, more] if codes else [change]

    def part(self) -> list[Change]:
        """One entry of the parts list; none when nobody names a part. PressedError for a key."""
        ask, page = self.dialogue.or_unknown, self.dialogue.page
        titles = {id_: part.title for id_, part in self.program.parts.items()}
        self.dialogue.say("  Which part? Its name, or a piece of it; Enter: no part.")
        name = ask("part", lambda t: self._part_named(t, titles))
        if name is None:
            return []
        entry: dict[str, Any] = {"part": name}
        sides = sides_of(self.program.parts[name])
        if len(sides) > 1:
            self.dialogue.say("\n".join(choices_text(sides, page)))
            side = ask(f"{titles[name]}, side", lambda t: chosen(t, sides))
            if side:
                entry["side"] = side
        self.dialogue.say("\n".join(choices_text(ACTION_WORDS, page)))
        actions = ask("what is done to it, 0: nothing", lambda t: some_of(t, ACTION_WORDS))
        if actions is not None:
            entry["actions"] = actions
        self.dialogue.say("\n".join(choices_text({d: d for d in DAMAGE}, page)))
        damage = ask("its damage", lambda t: chosen(t, {d: d for d in DAMAGE}))
        if damage:
            entry["damage"] = damage
        where = f" {sides[entry['side']]}" if "side" in entry else ""
        done = ", ".join(ACTION_WORDS[a] for a in entry.get("actions", ())) or "nothing done yet"
        words = f"{titles[name]}{where}: {done}; damage {entry.get('damage', 'not known yet')}"
        self.dialogue.say(page.wrap(words, first="  + ", hang=4))
        return [Change(("parts",), add=((entry, ""),))]

    def _part_named(self, text: str, titles: Mapping[str, str]) -> str:
        """A part by name, or by words in any order; the list is too long to show whole."""
        also = called(self.program.parts)
        fit = {i: titles[i] for i in fitting(text, titles, also)}
        if text in titles or len(fit) == 1:
            return text if text in titles else next(iter(fit))
        if not fit:
            return chosen(text, titles, also)
        self.dialogue.say("\n".join(choices_text(fit, self.dialogue.page)))
        picked = self.dialogue.or_unknown("which of these", lambda t: chosen(t, fit, also))
        if picked is None:
            raise WrongError("no part taken; name another, or press Enter again")
        return str(picked)


def sides_of(part: Part) -> dict[str, str]:
    """How the places of a part are said: by side alone where its end is in its name."""
    places = [p for p in part.places if p]
    ends = {p.partition("_")[0] for p in places}
    short = len(ends) == 1 and ends <= {"front", "rear"}
    return {(p.partition("_")[2] or p) if short else p: p.replace("_", " ") for p in places}


def _form(spec: FactSpec) -> str:
    if spec.type == "date":
        return "a date, as 2026-11-17"
    return f"a number{f' in {spec.unit}' if spec.unit else ''}, or none" if spec.type == "number" else ""


def quantity(text: str, spec: FactSpec) -> int | str:
    """A number with its unit as the case file keeps it; the reading of the file decides if it is one."""
    if spec.type == "date" or text.lower() in ("none", "nothing"):
        return text.lower()
    if spec.unit and text.replace(".", "", 1).replace("-", "", 1).isdecimal():
        return f"{text} {spec.unit}"
    return int(text) if text.isdecimal() and len(text) < 12 and not text.startswith("0") else text
