"""Expectations that the tests of this room share."""

from decimal import Decimal

from voicecheck.reply.grammar import DateForm, Expect, Form, NumberForm, SpellForm
from voicecheck.reply.phrases import COMMANDS, command_forms
from voicecheck.units import FT, IN, KG, KPA, LB, MIN, MM, PSI, H, M, S

COMMAND_FORMS = command_forms(COMMANDS)
VERDICTS = command_forms(("pass", "fail", "not fitted", "all good", "affirm", "negative", "done"))
ANSWERS = (
    Form("answer:closed", ("closed round the shank", "jaws closed")),
    Form("answer:open", ("not closed", "jaws open")),
    Form("answer:high", ("pin too high", "the pin's too high")),
)
PRESSURE = Expect(COMMAND_FORMS, NumberForm(PSI, (PSI, KPA), low=Decimal(0), high=Decimal(150)))
BARE_PRESSURE = Expect((), NumberForm(PSI, (PSI,)))
INCHES = Expect(COMMAND_FORMS, NumberForm(IN, (IN, MM), fractions=True))
SECONDS = Expect(COMMAND_FORMS, NumberForm(S, (S, MIN)))
CLOCK = Expect((), NumberForm(MIN, (S, MIN, H), fractions=True))
MINUTES = Expect((), NumberForm(MIN, (MIN,)))
LENGTH = Expect((), NumberForm(FT, (FT, IN, M), fractions=True))
WEIGHT = Expect((), NumberForm(LB, (LB, KG)))
UNIT_NUMBER = Expect(COMMAND_FORMS, spell=SpellForm(2, 8))
LONG_SPELLING = Expect((), spell=SpellForm(17, 17))
MONTH = Expect(COMMAND_FORMS, date=DateForm())
DAY = Expect((), date=DateForm(day=True))
CLOSED = Expect((*COMMAND_FORMS, *VERDICTS, *ANSWERS))
MIXED = Expect(COMMAND_FORMS, NumberForm(IN, (IN,), fractions=True), SpellForm(2, 7), DateForm())

ALL: dict[str, Expect] = {
    "pressure": PRESSURE,
    "bare pressure": BARE_PRESSURE,
    "inches": INCHES,
    "seconds": SECONDS,
    "clock": CLOCK,
    "minutes": MINUTES,
    "length": LENGTH,
    "weight": WEIGHT,
    "unit number": UNIT_NUMBER,
    "long spelling": LONG_SPELLING,
    "month": MONTH,
    "day": DAY,
    "closed": CLOSED,
    "mixed": MIXED,
}
