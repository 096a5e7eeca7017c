"""The page docs/sources.md, made from the table.

Run ``python -m voicecheck.limits.sources > docs/sources.md`` after a change of the table; a test
compares the page with the table. Pure: the page is returned as text, nothing is read or written.
"""

from __future__ import annotations

from textwrap import fill

from voicecheck.limits.judge import bound_text
from voicecheck.limits.table import JURISDICTIONS, LIMITS, STANDINGS, Bound, Limit

_HEAD = """\
# Limits and their sources

This page is made from `voicecheck/limits/table.py` by `python -m voicecheck.limits.sources`; do not
edit it by hand. It lists every figure that a reading can be judged against and who says so.

- No document was read from the live law. Copies have different ages; the edition is given where it
  could be seen. Check a figure against the law in force before relying on it.
- A reading is compared in the unit that was spoken. *Printed* figures stand in the source itself,
  *usual* ones are the rounded figures customary beside it. For any other unit the reading is
  converted exactly and the judgement says so.
- Equal passes under "at least" and "at most", and fails under "more than" and "less than".
- Rows that stand as private copy, practice or memory, and rows marked "about", are guide values and
  are never shown as a statement of law.
- What is not listed cannot be judged. In particular no figure was found for a Type 20 chamber with
  a three-inch rated stroke.
- A reading inside a limit says nothing about the vehicle as a whole.

## Standing

| standing | meaning |
|---|---|
"""

#: Families that no list of the project measures against and that nothing is reckoned from.
LOOKED_UP = (
    *("breakaway-hold", "cargo-breaking-strength", "cargo-downward", "cargo-working-load"),
    *("exhaust-clearance", "extinguisher", "fifth-wheel-jaw", "fifth-wheel-pivot"),
    *("fifth-wheel-plates", "fifth-wheel-slider", "governor-gap", "kingpin-diameter"),
    *("kingpin-new-jaw", "kingpin-new-throat", "kingpin-wear", "leak-test-pressure", "lining"),
    *("lining-crack-length", "lining-crack-width", "lining-periodic", "low-air-warning-test"),
    *("spare-fuses", "steering-lash", "steering-lash-inspection", "tiedown-count-least"),
    *("tread-major", "trip-inspection-weight", "warning-devices", "wedge-scribe"),
    *("windshield-crack", "windshield-damage", "windshield-spacing"),
)

_WEATHER = """
## Cold

| figure | value | source | standing |
|---|---|---|---|
| wind chill, degC and km/h | 13.12 + 0.6215 T - 11.37 V^0.16 + 0.3965 T V^0.16 \
| formula on a college meteorology page | private copy |
| its range | T at most 0 degC, V at least 5 km/h | none | memory |
| wind chill, degF and mph | 35.74 + 0.6215 T - 35.75 V^0.16 + 0.4275 T V^0.16 \
| chart of the US National Weather Service | handbook |
| its range | T at most 50 degF, V more than 3 mph | private page | private copy |
| frostbite bands, degC | -28 to -39: 10 to 30 min; -40 to -47: 5 to 10 min; -48 to -54: \
2 to 5 min; -55 and colder: 2 min or less | Environment Canada hazard table, as copied \
| private copy |
| frostbite, degF | -18 and colder: 30 min or less | National Weather Service text, as copied \
| private copy |

## Only looked up

No step of the lists here measures these and nothing is reckoned from them: a driver has no gauge
for them on the walk round, or is asked in words. They serve `voicecheck limits` and lists of a
carrier's own.

@LOOKED_UP@

## Reckoned figures

| rule | source | standing |
|---|---|---|
| a tiedown counts half its limit to the article or back to the same side, all of it over the \
article | 49 CFR 393.106(d); half for each end section, National Safety Code Standard 10 \
| private copy |
| the weakest part governs | 49 CFR 393.108(a) | law seen |
| an unmarked tiedown does not count in Canada | National Safety Code Standard 10, s. 11(4), as \
told by British Columbia's driver manual, p. 95, and the transport pages of Québec and Nova Scotia \
| handbook |
| a chain marked with its grade has the limit of a table of the standard in Canada; the table was \
not found, so it cannot be judged without its marked figure | National Safety Code Standard 10, \
s. 11(3), as quoted | private copy |
| a sealed load, or one that cannot practically be looked at, needs no check of the cargo \
| 49 CFR 392.9(b)(4) | private copy |
| the same in Canada | Ontario truck handbook (MTO), 1-4-4 | handbook |
| a month of issue is taken to the last day of the month | none | practice |
| a paper is valid to the end of the day or month that is printed on it | none | practice |

## Units

The international yard and pound of 1959 (1 in = 25.4 mm, 1 lb = 0.45359237 kg, exactly) and
NIST SP 811, edition 2008, Appendix B.8. See `voicecheck/units.py`.
"""


def sources_page() -> str:
    """The whole page as Markdown, one table for each jurisdiction, ending in one line feed."""
    lines = [f"| {standing} | {meaning} |" for standing, meaning in STANDINGS.items()]
    page = _HEAD + "\n".join(lines) + "\n"
    for code, name in JURISDICTIONS.items():
        rows = [row for row in LIMITS if row.jurisdiction == code]
        if rows:
            page += f"\n## {code}: {name}\n\n"
            page += "| id | quantity and limit | applies to | source | standing | note |\n"
            page += "|---|---|---|---|---|---|\n"
            page += "".join(_line(row) for row in rows)
    looked_up = fill(", ".join(f"`{family}`" for family in LOOKED_UP) + ".", 100)
    return page + _WEATHER.replace("@LOOKED_UP@", looked_up)


def _line(row: Limit) -> str:
    limit = f"{row.quantity}: **{bound_text(row.sense, row.value)}**"
    for figure in row.also:
        limit += f"; {'printed' if figure.printed else 'usual'} {_range(figure.value)}"
    source = f"{row.source}, {row.section}; {row.edition}"
    standing = row.standing + (" (about)" if row.about else "")
    note = "; ".join(part for part in ("or the maker's figure" * row.or_maker, row.note) if part)
    cells = (f"`{row.id}`", limit, row.applies, source, standing, note)
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |\n"


def _range(bound: Bound) -> str:
    return f"{bound[0]} to {bound[1]}" if isinstance(bound, tuple) else str(bound)


if __name__ == "__main__":
    print(sources_page(), end="")
