"""Every error of the program, in one place.

An error says what happened, who can fix it and how. Each class has a stable code, listed in
docs/errors.md (a test compares the two). Codes never change their meaning; a new meaning gets a
new code. "who" is one of: driver (the person with the headset), author (who writes checklists),
operator (who installs and looks after the machine), us (a defect of the program).
"""

from __future__ import annotations


class VoicecheckError(Exception):
    """Root of the tree. ``what`` happened, ``how`` to mend it; ``code`` and ``who`` by class."""

    code: str = "internal"
    who: str = "us"

    def __init__(self, what: str, how: str) -> None:
        super().__init__(what, how)
        self.what = what
        self.how = how

    def __str__(self) -> str:
        return f"{self.what} [{self.code}] {self.who.capitalize()}: {self.how}"


# -- checklist and vehicle files ------------------------------------------------------------


class ChecklistError(VoicecheckError):
    """A checklist, hazards or vehicle file cannot be used. Carries file and line."""

    code = "checklist-invalid"
    who = "author"

    def __init__(self, what: str, how: str, file: str = "", line: int = 0) -> None:
        super().__init__(what, how)
        self.file = file
        self.line = line

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}: " if self.file else ""
        return place + super().__str__()


class ChecklistSyntaxError(ChecklistError):
    """The file is not YAML that we read (bad syntax, tags, anchors, duplicate keys, too large)."""

    code = "checklist-syntax"


class ChecklistNotFound(ChecklistError):
    """No checklist of that name."""

    code = "checklist-not-found"
    who = "operator"


class SetupUnfinished(VoicecheckError):
    """A spoken description of a vehicle cannot become a vehicle file yet."""

    code = "setup-unfinished"
    who = "driver"


class OrderInvalid(ChecklistError):
    """An order file cannot be used, or names a unit that the vehicle does not have."""

    code = "order-invalid"
    who = "operator"


class FactNeverGiven(ChecklistError):
    """A step needs a fact that no step gives: the hold could never be cleared."""

    code = "fact-never-given"


class NotTogether(ChecklistError):
    """Steps cannot be asked in one sentence; the reason is in brackets (checklist/breath.py)."""

    code = "not-together"


# -- limits and units -----------------------------------------------------------------------


class UnknownUnit(VoicecheckError):
    """A unit outside the closed table, or a conversion between different quantities."""

    code = "unit-unknown"
    who = "author"


class UnknownLimit(VoicecheckError):
    """No limit of that id."""

    code = "limit-unknown"
    who = "author"


class InexactNumber(VoicecheckError):
    """A float, infinity or text where an exact figure is needed."""

    code = "number-inexact"
    who = "author"


class UnknownInput(VoicecheckError):
    """A limit's input (axle, chamber type ...) has a value outside its closed list."""

    code = "limit-input-unknown"
    who = "author"


class IntervalUnusable(VoicecheckError):
    """Two readings and a time that give no rate: no time passed, or the wrong span of pressure."""

    code = "interval-unusable"
    who = "driver"


# -- session --------------------------------------------------------------------------------


class SessionFault(VoicecheckError):
    """The session was told something that its rules exclude: a defect of the program."""

    code = "session-fault"


# -- journal --------------------------------------------------------------------------------


class JournalError(VoicecheckError):
    """Root of the errors of the journal file."""

    code = "journal"
    who = "operator"


class JournalDamaged(JournalError):
    """A record in the middle is damaged or the chain is broken; nothing after it is trusted."""

    code = "journal-damaged"

    def __init__(self, what: str, how: str, offset: int = 0, record: int = 0) -> None:
        super().__init__(what, how)
        self.offset = offset
        self.record = record


class JournalBusy(JournalError):
    """Another run writes this journal."""

    code = "journal-busy"


class JournalNotWritable(JournalError):
    """Disk full, read-only or lost. The loop says so aloud and holds."""

    code = "journal-not-writable"


class JournalNotFound(JournalError):
    """No inspection at that path."""

    code = "journal-not-found"


class InspectionClosed(JournalError):
    """The inspection is finished, or too old to be resumed."""

    code = "inspection-closed"
    who = "driver"


# -- sound ----------------------------------------------------------------------------------


class NoPortAudio(VoicecheckError):
    """The PortAudio library is missing, so neither microphone nor loudspeaker can be used."""

    code = "no-portaudio"
    who = "operator"


class NoMicrophone(VoicecheckError):
    """No microphone, or the one named is not there."""

    code = "no-microphone"
    who = "operator"


class NoLoudspeaker(VoicecheckError):
    """No loudspeaker, or the one named is not there, or it stopped taking sound."""

    code = "no-loudspeaker"
    who = "operator"


class MicrophoneStalled(VoicecheckError):
    """The microphone stopped delivering sound."""

    code = "microphone-stalled"
    who = "driver"


class NoSynthesiser(VoicecheckError):
    """No speech synthesiser: prompts can be printed but not spoken."""

    code = "no-synthesiser"
    who = "operator"


class WavUnusable(VoicecheckError):
    """A recording has the wrong rate, channels or format, or no speech."""

    code = "wav-unusable"
    who = "operator"


class ModelUnusable(VoicecheckError):
    """A recogniser model folder is missing, damaged or foreign."""

    code = "model-unusable"
    who = "operator"


class WordNotInModel(VoicecheckError):
    """The recogniser cannot hear a word of the vocabulary."""

    code = "word-not-in-model"
    who = "author"


class RecogniserMissing(VoicecheckError):
    """The chosen recogniser is not installed."""

    code = "recogniser-missing"
    who = "operator"


class RecogniserFailed(VoicecheckError):
    """The recogniser failed again and again, though it was made anew."""

    code = "recogniser-failed"
    who = "operator"


class DeviceKeyUnusable(VoicecheckError):
    """The key that signs inspections, or a device's public key, cannot be read or made."""

    code = "device-key-unusable"
    who = "operator"


class ReleaseKeyUnusable(VoicecheckError):
    """The key that supervisor and devices share for release codes cannot be read or made."""

    code = "release-key-unusable"
    who = "operator"


# -- desk -----------------------------------------------------------------------------------


class DeskNotWritable(VoicecheckError):
    """The desk's database or log cannot be made, read or written."""

    code = "desk-not-writable"
    who = "operator"


class DeskLogDamaged(VoicecheckError):
    """The log of decisions is not as it was written."""

    code = "desk-log-damaged"
    who = "operator"


# -- use ------------------------------------------------------------------------------------


class WrongUse(VoicecheckError):
    """The command line cannot mean anything."""

    code = "wrong-use"
    who = "operator"


class SettingsInvalid(VoicecheckError):
    """The settings file cannot be read, or has a setting that is not known."""

    code = "settings-invalid"
    who = "operator"
