"""The codes of what is wrong with a file, a pack or a case: code and title, what it means, what to do."""

from typing import Final

TABLE: Final = """\
KN101 cannot be read
The file or folder is not there, is of the wrong kind, or may not be read.
Check its name and its rights.
KN102 too large
The file is larger than any file of this kind.
Check that it is the file you meant.
KN103 not UTF-8
The file holds bytes that are not UTF-8 text.
Save it as UTF-8.
KN104 not valid YAML
The text breaks the rules of YAML, or uses a tag or key this program does not take.
Look at indentation, colons and quotes near the place.
KN105 empty
The file has no content.
Start from a file in `examples/`.
KN106 key written twice
One mapping has the same key twice, so one value would be lost.
Keep one of the two.
KN107 nested too deeply
The file nests deeper, or holds more values, than any honest file.
Flatten it; write values out without aliases.
KN108 names not looked up
A file could not be read, so names that it may define were not called unknown.
Correct the file and run again.
KN110 unknown key
The key is not known at this place.
Take the nearest known one, or remove it.
KN111 missing key
Something that must be said is missing.
Add the key.
KN112 not one of the words
Only certain words may stand here.
Use one of those listed.
KN113 wrong form
A list, mapping, text or number was expected.
Write it in that form.
KN114 breaks the schema
The value is of the right kind but breaks a limit or pattern.
Write it as the message says.
KN201 no such name
The name is not in the vocabulary or catalogue of these packs.
Take the nearest name; docs/words.md lists them all.
KN202 name exists already
Two entries of one catalogue have the same id.
Use another id.
KN210 not one question
A pattern asks about exactly one kind of thing, and only some kinds can stand here.
Split the pattern.
KN211 does not go together
This option does not belong to this kind of pattern.
Remove it, or choose the pattern it belongs to.
KN212 no place to bind
The values of this fact do not say where on the vehicle.
Remove `side`.
KN213 wrong test
A fact needs exactly one test, and one that fits its type.
Choose the test the message names.
KN214 no such figure
No source in the register has this figure.
Write it as `source_id.figure_name`, or add it to the register.
KN215 not one effect
An effect does exactly one thing.
Split it into two entries of `then`.
KN216 place missing
What is kept by side, end or corner must say where.
Add `side:`.
KN217 name bound in `unless`
`unless` asks whether something is absent, so it can bind no name.
Conclude a derived fact with the name first.
KN218 name not bound
An effect uses a name that the conditions do not bind in every alternative.
Bind it in each alternative.
KN219 `fits` rests on more than facts
What the law makes fitted may rest on plain facts only.
Use fact patterns.
KN220 nothing to inherit from
The rule inherits its strength, but an alternative of it rests on nothing derived.
State the strength.
KN221 too much to match
A rule, or all rules together, stand for more conditions, alternatives, matches or levels than the stated bound.
Narrow it: name parts or systems, join by a shared name, split it, or conclude a derived fact first.
KN222 listed file missing
`pack.yaml` lists a file that is not there.
Add it, or take it off the list.
KN223 outside the pack
A listed file lies outside the pack's folder.
Keep every file in the folder.
KN224 file not listed
A file in the folder is not listed; nothing is ignored in silence.
List it under `contents`, or move it away.
KN225 pack given twice
The same pack stands in the stack twice.
Give it once.
KN226 pack below is missing
A pack stacks on another that is not below it.
Give the lower pack first.
KN227 two rules, one id
Two rules have the same id and neither says that it replaces the other.
Give one its own id, and `replace:` where that is meant.
KN228 cannot replace here
A pack that applies only sometimes cannot replace or withdraw rules.
Move the rule to a pack without `applies`.
KN229 replaced twice, or in its own pack
A rule is replaced or withdrawn twice, or by its own pack.
Keep one; edit the rule itself in its own pack.
KN230 order in a ring
Operations wait for each other.
Take one `after` out.
KN231 `unless` in a ring
A rule depends, through `unless`, on its own absence, so the pack has no meaning.
Let `unless` look at something that does not depend on the rule.
KN232 assumptions in a ring
What is assumed of a fact depends on what is assumed of itself.
Let one of them assume a fixed value.
KN233 two promises, one id
Two promises have the same id.
Give one its own id.
KN234 not one promise
Each entry of a promise's `then` promises exactly one thing.
Split it.
KN240 beyond the rules engine
The packs are larger than the part of the rules engine that was verified.
Use fewer or smaller rules, as the message says.
KN301 wrong section
The fact is not answered in this section of the case.
Move it.
KN302 answered twice
Two sections answer the same fact differently; the later finding stands.
Nothing, if the later one is right.
KN303 one answer only
The fact has one answer, and a list was given.
Write the one word that fits.
KN304 not a number or date
The fact is a number or a date.
Write it as the message says.
KN305 wrong unit
The unit is not the one this fact is kept in.
Give it in that unit.
KN306 no date
The text is no date of the calendar.
Write it as YYYY-MM-DD.
KN307 not a list of systems
`fitted` takes lists of system ids.
Write a list.
KN308 fitted and not fitted
A system is listed as fitted and as not fitted.
Keep the one that is true.
KN309 no side given
The part has a left and a right, and no side was given, so both are meant.
Add `side:` if it is one.
KN310 no such side
The part is not on that side.
Take one of the sides listed.
KN311 two look-ups
One operation has two procedure look-ups.
Keep the newer one.
KN312 not one log entry
A log entry records exactly one of: done, event, waived.
Split it.
KN313 waived without a name
Waiving a line needs who decided and why.
Add `by:` and `why:`.
KN314 answers exclude each other
Two answers cannot both be true of one vehicle.
Correct one of them.
KN315 figure cannot be
The number lies outside what is possible for any vehicle, so rules would compare with a slip of the pen.
Read it again; write `unknown` if it cannot be found out.
KN320 reading cannot be judged
A reading or its limit is not written so that a verdict can be drawn.
Write it as the message says.
KN321 log cannot be appended to
The log of the case is written in a form that cannot be added to without touching what is there.
Write it as a block list, one entry a line.
KN322 reading not understood
A reading given on the command line is not of the form `name=low..high unit xcount`.
Write it as the message shows.
KN323 answer does not fit in
The form of the case file allows the answer only by touching more than its place, so nothing was written.
Write it by hand, as the message shows.
KN324 changed meanwhile
Somebody else wrote to the case file while it was worked on; nothing of theirs is lost.
Nothing; look at their answers.
KN325 answered meanwhile
Somebody else gave another answer to the same question first; theirs stands.
Find out which is right.
KN326 no such line
The plan has no line of that id.
Use one of the ids named, or ask `knockon why-not` for an operation that is not planned.
KN327 no such operation
No operation, or no place on the vehicle, is called that.
Use the nearest name; docs/words.md lists every operation.
KN328 done without outcome
A line is recorded as done without a result and without a reading, so it would stay open.
Say pass, fail or aborted, or give what was read.
KN329 reading nobody asked for
The operation asks for no reading of that name and no limit is on file for it, so it would be judged by nothing.
Use one of the names listed; write it into the case file by hand if it is meant.
KN330 vehicle number wrong
The vehicle identification number breaks a rule of its form or its check digit.
Read it again from the vehicle.
KN331 told and computed part
What was told of the blow and what its figures say do not agree.
Find out which is right and correct the other.
KN332 crash figure wrong
A figure or code of the crash cannot be right.
Correct it as the message says.
"""
