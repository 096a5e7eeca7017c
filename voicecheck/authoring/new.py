"""``voicecheck new``: a small checklist to begin with. It passes lint and prove as it is."""

from __future__ import annotations

import re

from voicecheck.errors import WrongUse

TEMPLATE = """\
# yaml-language-server: $schema={schema}
# A small checklist to begin with. Change it, then:
#   voicecheck lint {file}        what a driver could not follow or hear
#   voicecheck prove {file}       every turn explored; a dialogue that breaks a rule is printed
#   voicecheck run {file} --typed     lead it yourself at the keyboard
# Local law, the maker's manual and a licensed mechanic come before this list.
id: {id}
edition: "1"
title: {title}

# Where the driver stands. The name is yours, the sentence is spoken.
places:
  cab: In the cab
  yard: All round
  legs: At the landing gear

# Facts are the whole memory of safety. lasts: lasting (this inspection), until left (false again
# after more than ten minutes away, and after every interruption), or seconds.
facts:
  parked: {{text: Both knobs are out., lasts: until left}}
  held: {{text: The trailer spring brakes are set., lasts: lasting}}
  seen locked: {{text: The jaws were seen closed round the shank., lasts: lasting}}
  nobody near: {{text: Nobody is near., lasts: 60 s}}
  legs up: {{text: The landing gear is all the way up., lasts: lasting}}

# What the shared hazards call these facts. A hazard's needs stand in hazards.yaml beside the
# checklist; these names must be known here.
derived:
  tractor parked: {{text: Both knobs are out., all: [parked]}}
  trailer held: {{text: The trailer cannot roll., any: [held]}}
  coupling seen locked: {{text: The jaws were seen closed round the shank., all: [seen locked]}}
  people clear: {{text: Nobody is near., all: [nobody near]}}

# A closed list. class: minor is recorded and goes on; major stops what it blocks, always leaving.
defects:
  jaws-open:
    text: The jaws do not close round the kingpin.
    class: major
    blocks: [crank]
    source: ["49 CFR 396 Appendix A 2.a"]
  legs-stuck:
    text: The landing gear does not rise.
    class: major
    source: ["common practice, no source"]
  seal-torn:
    text: A gladhand seal is torn.
    class: major
    mended by: driver
    source: ["49 CFR 396.11(a)(1)"]

steps:
  # gives: only a listed good answer makes a fact true.
  - id: park
    place: cab
    item: Knobs
    ask: Both knobs. Out, or in?
    source: ["common practice, no source"]
    answers:
      both out: {{gives: [parked, held]}}
      knobs in: {{again: park, say: Pull both knobs out.}}

  # needs: this is not even asked while the knobs are not out.
  # variants: the question changes, so that a memorised word cannot pass.
  - id: jaws
    place: yard
    item: Jaws
    needs: [parked]
    source: ["49 CFR 396 Appendix A 2.a"]
    variants:
      - ask: Jaws and kingpin. Closed round what?
        answers:
          closed round the shank: {{gives: [seen locked]}}
          not closed: {{defect: jaws-open}}
      - ask: Kingpin. Which part do the jaws hold?
        answers:
          they hold the shank: {{gives: [seen locked]}}
          they stand open: {{defect: jaws-open}}

  - id: seals
    place: yard
    item: Gladhand seals
    ask: Gladhand seals. Pass or fail?
    source: ["49 CFR 396.11(a)(1)"]
    verdict:
      wrong: {{torn: seal-torn}}

  # A fact that lasts seconds is asked just before the step that needs it.
  - id: people
    place: legs
    item: People
    ask: Nobody in reach of the crank, or somebody near?
    confirm: true
    source: ["common practice, no source"]
    answers:
      nobody near: {{gives: [nobody near]}}
      somebody near: {{again: people, say: Wait until they are clear.}}

  # hazard: brings its needs, its caution and its make-safe sentence from hazards.yaml.
  - id: raise
    place: legs
    item: Raise the landing gear
    hazard: crank
    ask: Raise the landing gear. Pads all the way up?
    hands busy: true
    look: 10
    source: ["common practice, no source"]
    answers:
      all the way up: {{gives: [legs up]}}
      will not rise: {{defect: legs-stuck}}

  - id: look under
    place: legs
    item: Crank
    needs: [legs up]
    ask: Crank stowed?
    source: ["common practice, no source"]
    done: {{}}
"""


def new_checklist(id: str, file: str, schema: str) -> str:
    """The text of a checklist called ``id``. WrongUse for a name that cannot be one."""
    if not re.fullmatch(r"[a-z0-9][a-z0-9 -]{0,59}", id):
        raise WrongUse(
            f"{id!r} cannot be the name of a checklist.", "use small letters, figures and hyphens"
        )
    title = id.replace("-", " ").capitalize()
    return TEMPLATE.format(id=id, title=title, file=file, schema=schema)
