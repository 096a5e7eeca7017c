"""The commands. Thin: each parses its words, calls one function and prints what comes back.

Exit status: 0 all answered and no stopping defect; 1 stopped, or not finished, or something found;
2 wrong use; 3 the environment (microphone, disk, model, files).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from datetime import date
from functools import partial
from pathlib import Path

from voicecheck import __version__
from voicecheck.audio.microphone import Microphone, devices
from voicecheck.audio.ports import Recogniser
from voicecheck.audio.vosk_recogniser import default_model
from voicecheck.audio.wav import read_wav
from voicecheck.authoring.lint import lint, lint_names
from voicecheck.authoring.new import new_checklist
from voicecheck.authoring.prove import proof_report, proof_summary, prove_model
from voicecheck.authoring.schema import schema_text
from voicecheck.checklist.compile import Context
from voicecheck.checklist.load import load_checklist, load_hazards, load_order, load_vehicle
from voicecheck.checklist.order import Order
from voicecheck.errors import DeviceKeyUnusable, JournalNotFound, VoicecheckError, WrongUse
from voicecheck.journal.expiry import delete, expired
from voicecheck.journal.signature import device_key, fingerprint, public_pem, read_public, sign
from voicecheck.limits.judge import table_lines
from voicecheck.limits.sums import SUMS, work
from voicecheck.report.files import verify, write
from voicecheck.run import doctor as looks
from voicecheck.run import engines, soundcheck, start
from voicecheck.run.begin import Wish, begin, choices, expectations
from voicecheck.run.choosing import Choice
from voicecheck.run.clock import DeviceClock
from voicecheck.run.codes import checker, code_for, make_key, read_key
from voicecheck.run.described import vehicle_text
from voicecheck.run.dialogue import dialogue
from voicecheck.run.due import due
from voicecheck.run.due import lines as due_lines
from voicecheck.run.library import (
    Sources,
    compile_sources,
    find,
    load_sources,
    names,
    read_text,
)
from voicecheck.run.opening import Setting, compiled_of, last_open, read_inspection
from voicecheck.run.page import PORT, Board, show
from voicecheck.run.past import all_past, moment
from voicecheck.run.rehearsal import RehearsalWorld
from voicecheck.run.script import script
from voicecheck.settings import (
    Settings,
    device_key_file,
    load_settings,
    release_key_file,
    save_settings,
    settings_file,
)

NOT_CLAIMED = (
    "voicecheck leads, times and records an inspection. It never says that a vehicle is safe or "
    "fit: it says what was answered, what was not, and what stops the vehicle. Local law, the "
    "maker's manual and a licensed mechanic come first. Never reach under, crank or move while "
    "anything is in doubt."
)
EPILOG = """\
start here:
  voicecheck rehearse couple         a coupling led by voice, with recorded replies
  voicecheck run couple --typed      lead it yourself at the keyboard
  voicecheck doctor                  is the headset there, can every word be heard?
  voicecheck run couple --microphone lead it by voice

exit status: 0 all answered, no stopping defect; 1 stopped or not finished; 2 wrong use;
3 environment (microphone, disk, model, files)
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the exit status."""
    parser = _parser()
    given = parser.parse_args(argv)
    try:
        settings = load_settings()
        do: Callable[[argparse.Namespace, Settings], int] = given.do
        return do(given, settings)
    except VoicecheckError as error:
        print(f"voicecheck: {error}", file=sys.stderr)
        return 2 if isinstance(error, WrongUse) else 3
    except BrokenPipeError:
        return 3
    except KeyboardInterrupt:
        print("voicecheck: interrupted.", file=sys.stderr)
        return 1


# -- run, rehearse, resume ---------------------------------------------------------------------


def _run(given: argparse.Namespace, settings: Settings) -> int:
    source = "microphone" if given.microphone else "wav" if given.wav else "typed"
    wanted = _wanted(given, settings, source)
    own = Path(settings.checklists) if settings.checklists else None
    sources = load_sources(given.checklist, given.vehicle or settings.vehicle, own)
    practice = source == "wav" or given.compressed
    setting = replace(_setting(given, settings, practice), order=_order(given, settings))
    result = start.start(sources, setting, wanted)
    return _finish(given, result)


def _begin(given: argparse.Namespace, settings: Settings) -> int:
    own = Path(settings.checklists) if settings.checklists else None
    setting = replace(_setting(given, settings, practice=False), order=_order(given, settings))
    choice = Choice(
        given.checklist or "",
        given.vehicle or settings.vehicle,
        setting.jurisdiction,
        setting.season,
    )
    wanted = _wanted(given, settings, "typed" if given.typed else "microphone")
    result = begin(Wish(choice, setting, own), wanted)
    if result is None:
        print("Nothing was begun.", file=sys.stderr)
        return 1
    return _finish(given, result)


def _order(given: argparse.Namespace, settings: Settings) -> Order | None:
    if given.trailer and given.order:
        raise WrongUse("Both --trailer and --order name the trailer.", "name it once")
    name = given.order or ("" if given.trailer else settings.order)
    if not name:
        return None
    file = find(name, "orders", Path(settings.checklists) if settings.checklists else None)
    return load_order(read_text(file), str(file))


def _rehearse(given: argparse.Namespace, settings: Settings) -> int:
    if not given.drive:  # the drive of the checklist's own name, where there is one
        given.drive = given.checklist if given.checklist in names("drives") else "all-good"
    wanted = _wanted(given, settings, "rehearsal")
    if given.drive not in names("drives") and "/" not in given.drive:
        raise WrongUse(
            f"There is no drive {given.drive!r}.", f"use one of: {', '.join(names('drives'))}"
        )
    sources, expected = start.rehearsed(given.drive, given.checklist, given.vehicle)
    result = start.start(sources, _setting(given, settings, practice=True), wanted)
    if isinstance(result.world, RehearsalWorld) and not given.json:
        world = result.world
        print(f"{world.replies} replies, {world.talk_s:.0f} s of talk by the program.")
    status = _finish(given, result)
    if result.outcome != expected:
        print(f"The drive was made to end {expected!r}.", file=sys.stderr)
        return 1
    return status


def _resume(given: argparse.Namespace, settings: Settings) -> int:
    folder = Path(given.folder) if given.folder else last_open(_parent(given, settings))
    if folder is None:
        raise JournalNotFound(
            f"There is no unfinished inspection in {_parent(given, settings)}.",
            "start one with: voicecheck run couple --microphone",
        )
    source = "microphone" if given.microphone else "typed"
    try:
        result = start.resume(folder, _wanted(given, settings, source))
    finally:
        _write_report(folder)
    return _finish(given, result)


def _finish(given: argparse.Namespace, result: start.Result) -> int:
    report = _write_report(result.folder)
    file = result.folder / "report.html"
    if given.json:
        print(json.dumps({"outcome": result.outcome, "folder": str(result.folder)}))
    else:
        print(f"\n{report}\nReport: {file}")
        if result.outcome == "interrupted":
            print(f"Go on with: voicecheck resume {result.folder}")
    return 0 if result.outcome == "complete" else 1


def _write_report(folder: Path) -> str:
    """Write the report from the journal and sign the journal; the report's headline."""
    compiled, records = read_inspection(folder)
    headline = write(folder, records, compiled).headline.text
    try:
        sign(folder, device_key(device_key_file()))
    except DeviceKeyUnusable as error:
        print(f"voicecheck: not signed. {error}", file=sys.stderr)
    return headline


def _parent(given: argparse.Namespace, settings: Settings) -> Path:
    return Path(given.into or settings.folder)


def _setting(given: argparse.Namespace, settings: Settings, practice: bool) -> Setting:
    pairs = list(_pairs(given.set).items())
    units = [("trailer", given.trailer)] if given.trailer else []
    return Setting(
        operating="practice" if practice else "inspection",
        source="",
        driver=given.driver or settings.driver,
        carrier=given.carrier or settings.carrier,
        place=given.place or "",
        season=given.season or settings.season or "summer",
        jurisdiction=given.jurisdiction or settings.jurisdiction,
        settings=tuple(pairs),
        units=tuple(units),
        audio_days=settings.audio_days,
    )


def _pairs(texts: Sequence[str] | None) -> dict[str, str]:
    pairs = {}
    for text in texts or ():
        name, equals, value = text.partition("=")
        if not equals:
            raise WrongUse(f"--set {text!r} has no '='.", "write --set 'air lines=before the lock'")
        pairs[name.strip()] = value.strip()
    return pairs


def _wanted(given: argparse.Namespace, settings: Settings, source: str) -> start.Wanted:
    quiet = getattr(given, "json", False)
    wanted = start.Wanted(
        source=source,
        parent=_parent(given, settings),
        write=(lambda line: None) if quiet else (lambda line: print(line, flush=True)),
        make_recogniser=_engine(given, settings),
        compressed=source in ("rehearsal", "wav"),
        headset=settings.headset,
        microphone=settings.microphone,
        loudspeaker=settings.loudspeaker,
        lines=sys.stdin,
        codes=_codes(source),
    )
    if source == "wav":
        wanted = replace(wanted, wav=Path(given.wav))
    if source == "typed":
        wanted = replace(wanted, compressed=getattr(given, "compressed", False))
    if source == "rehearsal":
        wanted = replace(
            wanted,
            drive=given.drive,
            noise=given.noise,
            snr_db=given.snr,
            compressed=not given.real_time,
            speak=not given.no_voice,
        )
    if getattr(given, "page", None) is not None:
        board = Board()
        show(board, given.page, wanted.write)
        wanted = replace(wanted, board=board)
    if getattr(given, "headset", False):
        wanted = replace(wanted, headset=True)
    return wanted


def _codes(source: str) -> Callable[[str, str], bool] | None:
    """How release codes are checked here; None where there is no key, and in practice."""
    file = release_key_file()
    real = source in ("microphone", "typed") and file.exists()
    return checker(read_key(file)) if real else None


def _engine(given: argparse.Namespace, settings: Settings) -> Callable[[], Recogniser]:
    engine = getattr(given, "engine", None) or settings.engine
    model = getattr(given, "model", None) or settings.model
    if engine == "pocketsphinx":
        model = getattr(given, "model", None) or ""
    return lambda: engines.recogniser(engine, model)


# -- looking at an inspection ------------------------------------------------------------------


def _report(given: argparse.Namespace, settings: Settings) -> int:
    folder = Path(given.folder)
    compiled, records = read_inspection(folder)
    report = write(folder, records, compiled)
    if given.json:
        sys.stdout.write((folder / "report.json").read_text(encoding="utf-8") + "\n")
    else:
        print(f"{report.headline.text}\nReport: {folder / 'report.html'}")
    return 0 if report.headline.verdict == "complete" else 1


def _verify(given: argparse.Namespace, settings: Settings) -> int:
    folder = Path(given.folder)
    known = {Path(file).stem: read_public(Path(file)) for file in given.device or ()}
    findings = verify(folder, lambda opened: compiled_of((opened,), folder), known)
    grave = any(finding.grave for finding in findings)
    if given.json:
        print(json.dumps([asdict(finding) for finding in findings], indent=1))
    else:
        for finding in findings:
            print(f"{'GRAVE' if finding.grave else 'note'}: {finding.text}")
        if not grave:
            print("Nothing was found changed since it was written. This does not show who spoke,")
            print("nor that what was answered is true.")
    return 1 if grave else 0


def _key(given: argparse.Namespace, settings: Settings) -> int:
    public = device_key(device_key_file()).public_key()
    if given.json:
        print(json.dumps({"fingerprint": fingerprint(public), "public_key": public_pem(public)}))
    else:
        print(f"Fingerprint: {fingerprint(public)}\n{public_pem(public)}", end="")
    return 0


def _replay(given: argparse.Namespace, settings: Settings) -> int:
    compiled, records = read_inspection(Path(given.folder))
    for line in dialogue(compiled, records):
        print(line)
    return 0


def _desk(given: argparse.Namespace, settings: Settings) -> int:
    from voicecheck.desk.server import serve  # slow to load, and only this command needs it

    known = {Path(file).stem: read_public(Path(file)) for file in given.device or ()}
    return serve(Path(given.folder), given.port, known, lambda line: print(line, flush=True))


def _due(given: argparse.Namespace, settings: Settings) -> int:
    now = given.at or DeviceClock().now().wall
    if moment(now) is None:
        raise WrongUse(f"{now!r} is no moment.", "write --at 2026-11-25T06:40-06:00")
    found = due(*all_past(Path(given.folder or settings.folder)), now)
    if given.json:
        print(json.dumps([asdict(line) for line in found], indent=1))
    else:
        print("\n".join(due_lines(found)))
    return 1 if any(line.overdue or line.what == "stop" for line in found) else 0


def _delete_recordings(given: argparse.Namespace, settings: Settings) -> int:
    try:
        today = date.fromisoformat(given.at or DeviceClock().now().wall[:10])
    except ValueError:
        raise WrongUse(f"{given.at!r} is no day.", "write --at 2027-02-24") from None
    found, unreadable = expired(Path(given.folder or settings.folder), today)
    if given.json:
        for inspection in found if given.yes else ():
            delete(inspection)
        rows = [asdict(inspection) | {"deleted": given.yes} for inspection in found]
        print(json.dumps({"inspections": rows, "unreadable": unreadable}, indent=1, default=str))
        return 0
    for inspection in found:
        day = inspection.deletable_after
        if given.yes:
            delete(inspection)
        print(
            f"{inspection.folder.name}: {len(inspection.files)} recording(s), kept until {day}"
            + (", deleted" if given.yes else "")
        )
        for path in inspection.changed:
            print(f"  {path.name} is not as it was recorded and stays. Run voicecheck verify.")
    for name in unreadable:
        print(f"{name}: cannot be read, left as it is. Run voicecheck verify.")
    if not found:
        print("No recordings whose date is over.")
    elif not given.yes:
        print("Nothing was deleted. Add --yes to delete them; the records stay whole.")
    return 0


def _vehicle(given: argparse.Namespace, settings: Settings) -> int:
    text = vehicle_text(*read_inspection(Path(given.folder)))
    if not given.into:
        print(json.dumps({"vehicle": text}) if given.json else text, end="")
        return 0
    file = Path(given.into)
    if file.exists():
        raise WrongUse(f"{file} is there already.", "choose another name")
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise WrongUse(
            f"{file} cannot be written: {error.strerror}.", "name a file in a folder that is there"
        ) from None
    print(
        json.dumps({"file": str(file)}) if given.json else f"{file}\nUse it with --vehicle {file}"
    )
    return 0


def _release_key(given: argparse.Namespace, settings: Settings) -> int:
    file = Path(given.file)
    make_key(file)
    place = release_key_file()
    print(f"{file} is the key. Keep it with the supervisor, and copy it to {place} on each device.")
    return 0


def _release_code(given: argparse.Namespace, settings: Settings) -> int:
    code = code_for(read_key(Path(given.key)), "".join(given.reference))
    print(json.dumps({"code": code}) if given.json else f"{code[:3]} {code[3:]}")
    return 0


def _script(given: argparse.Namespace, settings: Settings) -> int:
    own = Path(settings.checklists) if settings.checklists else None
    sources = load_sources(given.checklist, given.vehicle or settings.vehicle, own)
    compiled, _ = compile_sources(
        sources,
        season=given.season or settings.season or "summer",
        jurisdiction=given.jurisdiction or settings.jurisdiction,
        settings=_pairs(given.set),
    )
    lines = list(script(compiled, given.brief))
    print(json.dumps(lines, indent=1) if given.json else "\n".join(lines))
    return 0


def _doctor(given: argparse.Namespace, settings: Settings) -> int:
    if given.choose:
        chosen = soundcheck.choose_devices(devices(), input, print)
        if chosen:
            print(f"Kept in {save_settings(chosen)}. Try it: voicecheck listen")
        return 0
    found = looks.examine(
        _engine(given, settings),
        given.vehicle or settings.vehicle,
        Path(settings.folder),
        settings.microphone,
        settings.loudspeaker,
    )
    if given.json:
        print(json.dumps([asdict(look) for look in found], indent=1))
    else:
        print(f"settings: {settings_file()}")
        for look in found:
            print(f"{look.state:8} {look.what}: {look.text}")
    return 3 if any(look.state == "missing" for look in found) else 0


def _listen(given: argparse.Namespace, settings: Settings) -> int:
    engine = _engine(given, settings)()
    write = partial(print, flush=True)
    if given.wav:
        blocks = soundcheck.recorded_blocks(read_wav(Path(given.wav)))
    else:
        microphone = Microphone(settings.microphone or None)
        tell = soundcheck.teller(write, settings.loudspeaker)
        for line in soundcheck.sound_check(engine, microphone, tell):
            write(line)
        blocks = soundcheck.live_blocks(microphone, given.seconds)
    write("Say a command, pass, fail, affirm or negative.")
    for line in soundcheck.listen(engine, blocks):
        write(line)
    return 0


def _limits(given: argparse.Namespace, settings: Settings) -> int:
    if not given.name:
        lines = table_lines(given.jurisdiction)
        print(json.dumps(lines, indent=1) if given.json else "\n".join(lines))
        return 0
    worked = work(given.name, given.words, given.jurisdiction or settings.jurisdiction or "US")
    print(json.dumps(asdict(worked), indent=1) if given.json else "\n".join(worked.lines))
    return 0 if worked.verdict in ("", "within") else 1


# -- for authors -------------------------------------------------------------------------------


def _author(given: argparse.Namespace, settings: Settings) -> tuple[Sources, Context]:
    own = Path(settings.checklists) if settings.checklists else None
    sources = load_sources(given.checklist, given.vehicle or settings.vehicle, own)
    vehicle = load_vehicle(sources.vehicle, sources.vehicle_file)
    place = given.jurisdiction or settings.jurisdiction or vehicle.jurisdiction
    chosen = _pairs(given.set)
    return sources, Context(vehicle, given.season or settings.season or "summer", place, chosen)


def _prove(given: argparse.Namespace, settings: Settings) -> int:
    sources, context = _author(given, settings)
    model, lines = load_checklist(sources.checklist, sources.checklist_file)
    hazards, _ = load_hazards(sources.hazards, sources.hazards_file)
    proof = prove_model(
        model,
        lines,
        sources.checklist_file,
        hazards,
        context,
        reduced=not given.whole,
        deep=given.deep,
        carried=given.carried,
    )
    if given.json:
        print(json.dumps(proof_summary(proof), indent=1))
    else:
        print("\n".join(proof_report(proof)))
    return 0 if proof.kept else 1


def _lint(given: argparse.Namespace, settings: Settings) -> int:
    sources, context = _author(given, settings)
    model, lines = load_checklist(sources.checklist, sources.checklist_file)
    hazards, _ = load_hazards(sources.hazards, sources.hazards_file)
    heard_by = _heard_by(given, settings)
    found = lint(model, lines, sources.checklist_file, hazards, context, heard_by)
    own = Path(settings.checklists) if settings.checklists else None
    named = lint_names(expectations(choices(Choice(vehicle=settings.vehicle), own)), heard_by)
    found = replace(found, findings=(*found.findings, *named))
    if given.json:
        print(json.dumps([asdict(finding) for finding in found.findings], indent=1))
        return 0 if found.clean else 1
    for finding in found.findings:
        print(finding)
    walked = found.walked
    print(f"A walk in which all is well: {walked.replies} replies, {walked.seconds:.0f} s of talk.")
    print("The costliest sentences:")
    for seconds, text in walked.costliest:
        print(f"  {seconds:4.1f} s  {text}")
    return 0 if found.clean else 1


def _heard_by(given: argparse.Namespace, settings: Settings) -> list[Recogniser]:
    """Both recognisers, as far as they and their models are there."""
    model = given.model or settings.model
    found: list[Recogniser] = [engines.recogniser("pocketsphinx", "")]
    if model or default_model() is not None:
        found.append(engines.recogniser("vosk", model))
    return found


def _new(given: argparse.Namespace, settings: Settings) -> int:
    file = Path(given.into or ".") / f"{given.name}.yaml"
    text = new_checklist(given.name, str(file), "checklist.schema.json")
    beside = file.parent / "checklist.schema.json"
    if file.exists():
        raise WrongUse(f"{file} is there already.", "choose another name")
    try:
        file.write_text(text, encoding="utf-8")
        beside.write_text(schema_text(), encoding="utf-8")
    except OSError as error:
        raise WrongUse(
            f"{file} cannot be written: {error.strerror}.", "name a folder with --into"
        ) from None
    print(json.dumps({"file": str(file)}) if given.json else f"{file}\nNow: voicecheck lint {file}")
    return 0


# -- the words of the commands -----------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="voicecheck",
        description="Hands-free, offline inspection loop for tractor-trailer drivers. "
        + NOT_CLAIMED,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"voicecheck {__version__}")
    sub = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)

    def add(
        name: str, do: Callable[[argparse.Namespace, Settings], int], help: str, more: str = ""
    ) -> argparse.ArgumentParser:
        command = sub.add_parser(
            name,
            help=help,
            description=f"{help}\n\n{more}" if more else help,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        command.set_defaults(do=do)
        command.add_argument("--json", action="store_true", help="print for machines")
        return command

    run = add(
        "run",
        _run,
        "Lead a checklist: by voice, from a recording, or typed.",
        "Say, or type, the answer to each question. At any time: say again, explain, stand by,\n"
        "correction, memo, not done, cannot see, next place, end inspection.\n\n"
        "examples:\n  voicecheck run couple --microphone\n  voicecheck run couple --typed\n"
        "  voicecheck run couple --wav replies.wav",
    )
    run.add_argument("checklist", help=f"name ({', '.join(names('checklists'))}) or file")
    how = run.add_mutually_exclusive_group(required=True)
    how.add_argument("--microphone", action="store_true", help="by voice, with a real microphone")
    how.add_argument("--wav", metavar="FILE", help="a recording of replies (16 kHz mono)")
    how.add_argument("--typed", action="store_true", help="replies from the keyboard, one a line")
    run.add_argument("--compressed", action="store_true", help="typed: time jumps (practice)")
    run.add_argument("--order", metavar="FILE", help="order: numbers and plates to compare with")
    run.add_argument("--headset", action="store_true", help="a reply may stop a prompt")
    _page(run)
    _people(run)
    _sound(run)

    beginning = add(
        "begin",
        _begin,
        "Begin or resume with nothing but the voice, or one key (Enter), from power-on.",
        "It says what is overdue and what can be resumed; list, vehicle, jurisdiction and season\n"
        "are chosen by speaking, and begun when the whole choice is affirmed.\n\n"
        "examples:\n  voicecheck begin\n  voicecheck begin couple",
    )
    beginning.add_argument("checklist", nargs="?", help="the list that one key begins")
    how = beginning.add_mutually_exclusive_group()
    how.add_argument("--microphone", action="store_true", help="by voice (the default)")
    how.add_argument("--typed", action="store_true", help="replies from the keyboard, one a line")
    beginning.add_argument("--compressed", action="store_true", help=argparse.SUPPRESS)
    beginning.add_argument("--order", metavar="FILE", help="as for run")
    beginning.add_argument("--headset", action="store_true", help="a reply may stop a prompt")
    _page(beginning)
    _people(beginning)
    _sound(beginning)

    rehearse = add(
        "rehearse",
        _rehearse,
        "The same loop with a recorded driver, through the real recogniser. Needs no device.",
        "The recorded driver hears the prompts and tones and nothing else; he repeats when he is\n"
        "misheard. The report is of the kind practice.\n\n"
        "example:\n  voicecheck rehearse couple\n  voicecheck rehearse couple --drive stop\n"
        "  voicecheck rehearse brake-tests",
    )
    rehearse.add_argument("checklist", help="name of the checklist that the drive walks through")
    rehearse.add_argument("--drive", help="name or folder of a drive of that checklist")
    rehearse.add_argument("--real-time", action="store_true", help="play prompts, wait as in life")
    rehearse.add_argument("--no-voice", action="store_true", help="print the prompts only")
    rehearse.add_argument("--noise", choices=("none", "diesel", "wind"), help="other noise")
    rehearse.add_argument("--snr", type=int, metavar="DB", help="other signal-to-noise ratio")
    _people(rehearse)
    _sound(rehearse)

    resume = add(
        "resume",
        _resume,
        "Go on with an inspection within four hours; what lasts until you left is asked again.",
        "examples:\n  voicecheck resume --microphone\n  voicecheck resume inspections/NAME --typed",
    )
    resume.add_argument("folder", nargs="?", help="default: the latest unfinished one")
    how = resume.add_mutually_exclusive_group(required=True)
    how.add_argument("--microphone", action="store_true", help="by voice")
    how.add_argument("--typed", action="store_true", help="from the keyboard")
    resume.add_argument("--compressed", action="store_true", help=argparse.SUPPRESS)
    _page(resume)
    resume.add_argument("--into", metavar="FOLDER", help="where inspections are kept")
    _sound(resume)

    for name, do, text in (
        ("report", _report, "Write the report (json, html, pdf) again from the journal."),
        ("verify", _verify, "Is it as it was written? Chain, recordings, signature, report."),
        ("replay", _replay, "Read an inspection as a dialogue, record by record."),
    ):
        command = add(name, do, text, f"example:\n  voicecheck {name} inspections/NAME")
        command.add_argument("folder", help="folder of the inspection")
        if name == "verify":
            command.add_argument(
                "--device",
                action="append",
                metavar="FILE",
                help="public key of a device of yours (voicecheck key > FILE); may be repeated",
            )
    add(
        "key",
        _key,
        "Print the public key with which this device's inspections can be verified.",
        "example:\n  voicecheck key > yard-one.pem",
    )

    release_key = add(
        "release-key",
        _release_key,
        "Make the key that a supervisor and the devices share for release codes.",
        "example:\n  voicecheck release-key release-key.txt",
    )
    release_key.add_argument("file", metavar="FILE", help="a file that is not there yet")
    release_code = add(
        "release-code",
        _release_code,
        "Print the code that releases one stop, for the eight figures that the driver reads out.",
        "example:\n  voicecheck release-code 4829 1503 --key release-key.txt",
    )
    release_code.add_argument("reference", nargs="+", help="eight figures")
    release_code.add_argument("--key", metavar="FILE", required=True, help="the supervisor's key")

    desk = add(
        "desk",
        _desk,
        "Pages for a supervisor over a folder of inspections, on this machine only.",
        "example:\n  voicecheck desk inspections",
    )
    desk.add_argument("folder", help="folder that holds the inspections")
    desk.add_argument("--port", type=int, default=8640, help="default 8640; 0 for any free one")
    desk.add_argument("--device", action="append", metavar="FILE", help="as for verify")

    coming = add(
        "due",
        _due,
        "What must be done next and by when, from the inspections in a folder.",
        "Each line names its source and the record that it rests on. Exit status 1 when something\n"
        "is overdue or a stop is open.\n\nexample:\n  voicecheck due inspections",
    )
    coming.add_argument("folder", nargs="?", help="where inspections are kept")
    coming.add_argument(
        "--at", metavar="MOMENT", help="instead of now, e.g. 2026-11-25T06:40-06:00"
    )

    expiry = add(
        "delete-recordings",
        _delete_recordings,
        "Delete recordings whose date is over; shows them first.",
        "The date is counted by audio_days in the settings, as it was when the inspection began.\n"
        "Where none was set nothing is deleted. The records, with the words heard, stay whole.\n\n"
        "examples:\n  voicecheck delete-recordings inspections\n"
        "  voicecheck delete-recordings inspections --yes",
    )
    expiry.add_argument("folder", nargs="?", help="where inspections are kept")
    expiry.add_argument("--at", metavar="DAY", help="instead of today, e.g. 2027-02-24")
    expiry.add_argument("--yes", action="store_true", help="delete them")

    described = add(
        "vehicle",
        _vehicle,
        "Make a vehicle file of a vehicle that was described by voice.",
        "examples:\n  voicecheck run vehicle --microphone\n"
        "  voicecheck vehicle inspections/NAME --into my-truck.yaml",
    )
    described.add_argument("folder", help="folder of the finished description")
    described.add_argument("--into", metavar="FILE", help="where to write it (default: shown)")

    reading = add(
        "script",
        _script,
        "Print every sentence of a checklist, to be read aloud before it is used.",
        "example:\n  voicecheck script couple --season winter",
    )
    reading.add_argument("checklist", help=f"name ({', '.join(names('checklists'))}) or file")
    reading.add_argument("--brief", action="store_true", help="as spoken to people who know it")
    _people(reading)
    doctor = add(
        "doctor",
        _doctor,
        "Look at microphone, loudspeaker, voice, recogniser and disk; choose the devices.",
        "examples:\n  voicecheck doctor\n  voicecheck doctor --choose",
    )
    doctor.add_argument("--choose", action="store_true", help="choose the devices by number")
    doctor.add_argument("--vehicle", help="vehicle whose words are checked")
    _sound(doctor)
    listen = add(
        "listen",
        _listen,
        "Sound check: level, noise, what is heard, and what to do about it.",
        "First it asks for silence and for three phrases, then it shows whatever is said.\n\n"
        "example:\n  voicecheck listen --seconds 60",
    )
    listen.add_argument(
        "--seconds", type=float, default=30.0, help="how long after it (default 30)"
    )
    listen.add_argument("--wav", metavar="FILE", help="listen to a recording instead")
    _sound(listen)

    prove = add(
        "prove",
        _prove,
        "Explore every turn of a checklist: can a reply pass a hold, is every hold to be cleared?",
        "Exit status 1 when something is broken; a dialogue that breaks it is printed.\n\n"
        "example:\n  voicecheck prove couple",
    )
    _for_authors(prove)
    prove.add_argument(
        "--whole", action="store_true", help="without reductions (small checklists only)"
    )
    prove.add_argument(
        "--deep", type=int, default=1, choices=range(1, 101), metavar="N",
        help="follow N states of each class (1 to 100; 1 if not given)",
    )  # fmt: skip
    prove.add_argument(
        "--carried", action="store_true", help="with what an earlier inspection hands on"
    )

    lint = add(
        "lint",
        _lint,
        "What an author should mend: words, prompts, facts, sources, budgets, the walk.",
        "Exit status 1 when something must be mended.\n\nexample:\n  voicecheck lint couple",
    )
    _for_authors(lint)
    lint.add_argument("--model", metavar="FOLDER", help="a vosk model folder of your own")

    new = add("new", _new, "Start a checklist of your own: a small one that works, with comments.")
    new.add_argument("name", help="small letters, figures and hyphens")
    new.add_argument("--into", metavar="FOLDER", help="where to write it (default: here)")

    limits = add(
        "limits",
        _limits,
        "The table of limits with sources; one row; judge a reading; sums that drivers do.",
        "\n".join(
            (
                "examples:\n  voicecheck limits --jurisdiction US",
                "  voicecheck limits us-str-30-standard 1 3/4 in",
                "  voicecheck limits tread 3/32 in axle=steer --jurisdiction CA-BC",
                *(f"  {sum.example}\n      {sum.what}" for sum in SUMS.values()),
            )
        ),
    )
    limits.add_argument("name", nargs="?", help=f"id or family of a limit, or {', '.join(SUMS)}")
    limits.add_argument("words", nargs="*", help='figures with units; inputs as "name=value"')
    limits.add_argument("--jurisdiction", help="e.g. US, US-MD or CA-ON (default: US)")
    return parser


def _for_authors(command: argparse.ArgumentParser) -> None:
    command.add_argument("checklist", help=f"name ({', '.join(names('checklists'))}) or file")
    command.add_argument("--vehicle", help=f"name ({', '.join(names('vehicles'))}) or file")
    command.add_argument("--season", choices=("summer", "winter"))
    command.add_argument("--jurisdiction", help="e.g. US, US-MD, CA-ON")
    command.add_argument("--set", action="append", metavar="NAME=CHOICE", help="carrier's choice")


def _people(command: argparse.ArgumentParser) -> None:
    command.add_argument("--vehicle", help=f"name ({', '.join(names('vehicles'))}) or file")
    command.add_argument("--trailer", metavar="NUMBER", help="trailer on the order")
    command.add_argument("--driver", help="name, for the report")
    command.add_argument("--carrier", help="name, for the report")
    command.add_argument("--place", help="where, for the report")
    command.add_argument("--season", choices=("summer", "winter"))
    command.add_argument("--jurisdiction", help="e.g. US, US-MD, CA-ON")
    command.add_argument("--set", action="append", metavar="NAME=CHOICE", help="carrier's choice")
    command.add_argument("--into", metavar="FOLDER", help="where inspections are kept")


def _page(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--page",
        nargs="?",
        type=int,
        const=PORT,
        metavar="PORT",
        help=f"show place, question, hold and level in large letters (default port {PORT})",
    )


def _sound(command: argparse.ArgumentParser) -> None:
    command.add_argument("--engine", choices=engines.ENGINES, help="recogniser")
    command.add_argument("--model", metavar="FOLDER", help="a vosk model folder of your own")


if __name__ == "__main__":
    sys.exit(main())
