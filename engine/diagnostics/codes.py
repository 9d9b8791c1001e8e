"""Every message code: its title, what it means, and what to do. The hundreds say where it comes from."""

from __future__ import annotations

from typing import Final, NamedTuple

from .input_codes import TABLE


class Code(NamedTuple):
    """What is said of a message code wherever codes are listed."""

    title: str
    means: str
    to_do: str


AREAS: Final = {
    "KN1": "Files: reading them, and their form",
    "KN2": "Packs: names, rules and stacking",
    "KN3": "Cases",
    "KN4": "Findings of a pack check: the pack loads, and this deserves a look",
    "KN5": "Bodies of cases",
    "KN6": "Promises",
    "KN9": "Faults of this program, and how it was called",
}

# Three lines each: code and title, what it means, what to do. KN1 to KN3 are in input_codes.py.
_TABLE: Final = """\
KN400 rules not compared
The packs could not be read whole, so no rule was compared with another.
Correct the errors and check again.
KN401 source not reviewed lately
The source was last read longer ago than its pack allows.
Read it again, correct what changed, and set `reviewed`.
KN402 source never used
No rule cites the source or uses a figure of it.
Cite it where it is followed, or take it out.
KN403 limit that cannot be
The figures of a limit contradict each other, or its unit is not known.
Correct it by the procedure it was taken from.
KN404 limit that judges nothing
The operation records no reading of that name, or reads it in a unit of another kind.
Name the reading as the operation does, and use its kind of unit.
KN405 version without its change
The pack lists what its versions changed, and leaves out the version it is.
Add the version with a sentence to `changes`.
KN410 rule can never fire
Its conditions exclude each other, its `unless` always holds, or it waits for what nothing makes.
Correct the condition, or retire the rule.
KN411 alternative can never hold
One alternative of an `any` is in vain, for the same reasons.
Correct it, or take it out.
KN412 alternative adds nothing
Another alternative of the same rule holds whenever this one does.
Take it out.
KN413 rule adds nothing
Another rule asks for as much whenever this one holds; this one has no source and no note of its own.
Take it out, narrow the other rule, or accept it with a reason.
KN414 duplicate rule
Two rules do the same under the same conditions.
Keep one and join their reasons and sources.
KN415 planned and always dropped
What a rule plans, another drops in every such case.
Narrow the drop, or take the plan out.
KN416 dropped in vain
What a rule drops, another requires in every such case, and what is required is not dropped.
Let the requiring rule stand back, or take the drop out.
KN417 held for ever
A hold rests on nothing that changes as work goes on, or waits for the work it holds.
Rest it on a result, a code or a finding, or drop the operation.
KN420 operation never asked for
No rule plans the operation.
Write the rule, or take the operation out.
KN421 system never mentioned
No rule mentions the system, and no planned operation concerns it.
Write the rule, or take the system out.
KN422 fact never read
No rule reads the fact, so people are asked in vain.
Write the rule, or do not ask.
KN423 derived fact never concluded
No rule concludes the derived fact.
Write the rule, or take it out.
KN424 derived fact never read
No rule reads the derived fact.
Write the rule, or take it out.
KN425 event voids nothing
No operation is undone by the event.
Name it in `void_by`, or take it out.
KN431 dated rules leave a gap
Two versions of a rule leave days on which neither is in force.
Let one begin where the other ends.
KN432 dated rules overlap
Two versions of a rule are in force at once.
Let one end where the other begins.
KN440 acceptance not needed
A finding is accepted that is no longer there.
Take the acceptance out.
KN441 acceptance refused
An acceptance names no such code or id, or gives no reason.
Correct it; only findings of a pack check can be accepted.
KN501 no cases
There are no cases at the given place.
Name a folder of case files or a JSON Lines file.
KN502 not a case
One item of the body of cases is no case; it was counted and left out.
Look at the named place.
KN503 cannot write
A file cannot be written; an old one, if any, is whole.
Check the folder, its rights and its space.
KN504 cannot be done here
An optional library is not installed, or the cluster that was named does not answer.
Install the extra the message names, or work without it.
KN510 nothing to compare
A supplement compares two case files, or one with its own past.
Give a second case file or a date.
KN601 no solver
Proving promises needs the solver, which is not installed.
Install the extra `prove`.
KN900 engines disagree
The two evaluations of the rules differ, or one broke, so there is no plan.
Report it with the case and the packs.
KN901 internal fault
The program met something it was not written for.
Run it again with `--debug` and report it.
KN902 wrong call
The command, an option or an argument is not known or does not fit.
See `knockon --help` or `knockon COMMAND --help`.
"""


def _read(table: str) -> dict[str, Code]:
    lines = table.splitlines()
    heads = (line.split(" ", 1) for line in lines[::3])
    found = zip(heads, lines[1::3], lines[2::3], strict=True)
    return {code: Code(title, means, to_do) for (code, title), means, to_do in found}


CODES: Final = _read(TABLE) | _read(_TABLE)
