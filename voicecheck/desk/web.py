"""The desk in a browser: plain pages, forms and links, on this machine only.

The rules:

1. It listens on the loopback address and answers only requests that name it, so that no other
   page and no other machine reaches it. There is nobody to log in: whoever sits at this machine can
   decide, and gives a name with each decision. The pages say so.
2. No script. Every text is escaped. A decision is a form with a token that only our own pages hold.
3. Files of an inspection are given out by a closed list of names.
4. The list is looked through again every few seconds, apart from the pages, so that no page waits.
"""

from __future__ import annotations

import contextlib
import datetime
import re
import secrets
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from pathlib import Path
from urllib.parse import urlencode

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from jinja2 import Environment, PackageLoader, StrictUndefined
from pydantic import ValidationError
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from voicecheck.desk import log, questions
from voicecheck.desk.store import DefectOf, Inspection, MarkOf, Refused, UnitOf, open_store, sync
from voicecheck.desk.today import PAGE, Filter, found, today
from voicecheck.errors import VoicecheckError
from voicecheck.journal.verify import AUDIO_NAME
from voicecheck.report.build import Report, clock, count, day
from voicecheck.report.files import HTML, JSON, PDF, verify
from voicecheck.report.wording import OUTCOME, by_place, capital
from voicecheck.run.opening import compiled_of

LOOK_AGAIN_S = 10.0
VERDICTS = ("complete", "stopped", "not finished")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; media-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class Desk:
    """One folder of inspections, its database, and what its pages need."""

    def __init__(
        self,
        folder: Path,
        known: Mapping[str, Ed25519PublicKey],
        now: Callable[[], datetime.datetime],
    ) -> None:
        self.folder = folder
        self.known = known
        self.now = now
        self.engine: Engine = open_store(folder)
        self.token = secrets.token_urlsafe(24)
        self.trouble = ""
        self._one = threading.Lock()
        self._stop = threading.Event()
        self._looking = threading.Thread(target=self._look, name="desk", daemon=True)

    def sync(self) -> None:
        """Take in what is new. What goes wrong is kept and shown; what was there stays."""
        with self._one:
            try:
                sync(self.engine, self.folder)
            except VoicecheckError as error:
                self.trouble = str(error)
            else:
                self.trouble = ""

    def start(self) -> None:
        self._looking.start()

    def stop(self) -> None:
        self._stop.set()
        if self._looking.is_alive():
            self._looking.join()
        self.engine.dispose()

    def _look(self) -> None:
        while not self._stop.wait(LOOK_AGAIN_S):
            self.sync()

    # -- pages ---------------------------------------------------------------------------------

    def page(self, name: str, status: int = 200, **values: object) -> Response:
        text = _ENVIRONMENT.get_template(name).render(
            token=self.token, trouble=self.trouble, folder=self.folder.name, **values
        )
        return HTMLResponse(text, status, _HEADERS)

    def first(self, request: Request) -> Response:
        date = self.now().date().isoformat()
        with Session(self.engine) as session:
            total = session.scalar(select(func.count()).select_from(Inspection))
            refused = session.scalars(select(Refused).order_by(Refused.folder)).all()
            return self.page(
                "today.html.j2",
                sections=today(session, date),
                date=date,
                total=total,
                refused=refused,
            )

    def inspections(self, request: Request) -> Response:
        asked = {name: request.query_params.get(name, "").strip() for name in _FILTERS}
        wrong = [name for name in ("first", "last") if asked[name] and not _is_day(asked[name])]
        wanted = Filter(**{**asked, **dict.fromkeys(wrong, "")})
        number = request.query_params.get("page", "1")
        page = max(1, int(number)) if number.isascii() and number.isdigit() else 1
        with Session(self.engine) as session:
            section = found(session, wanted, page)
            lists = session.execute(
                select(Inspection.checklist, Inspection.title).distinct().order_by(Inspection.title)
            ).all()
            pages = max(1, -(-section.total // PAGE))
            return self.page(
                "inspections.html.j2",
                section=section,
                wanted=wanted,
                wrong=wrong,
                page=page,
                pages=pages,
                checklists={row.checklist: row.title for row in lists},
                verdicts=VERDICTS,
                turn=lambda n: "?" + urlencode({**asked, "page": n}),
            )

    def inspection(self, request: Request) -> Response:
        id = request.path_params["id"]
        with Session(self.engine) as session:
            row = session.get(Inspection, id)
            if row is None:
                return self._missing()
            return self._inspection(session, row)

    def _inspection(
        self, session: Session, row: Inspection, status: int = 200, wrong: str = ""
    ) -> Response:
        folder = self.folder / row.folder
        try:
            report = Report.model_validate_json((folder / JSON).read_bytes())
        except (OSError, ValidationError):
            return self.page(
                "gone.html.j2", 404, text="The report of this inspection is no longer there."
            )
        marks = session.scalars(
            select(MarkOf).where(MarkOf.inspection == row.id).order_by(MarkOf.n)
        ).all()
        standing = [mark for mark in marks if mark.stands and mark.kind != "taken back"]
        certified = {m.defect: m for m in standing if m.kind in ("repaired", "not needed")}
        return self.page(
            "inspection.html.j2",
            status,
            row=row,
            report=report,
            places=by_place(report.steps),
            marks=marks,
            certified=certified,
            reviewed=next((m for m in standing if m.kind == "reviewed"), None),
            reviewable=bool(report.defects)
            and all(defect.number in certified for defect in report.defects),
            wrong=wrong,
            there={path.name for path in folder.glob("reply-*")},
        )

    def checked(self, request: Request) -> Response:
        """Verify one inspection now: chain, recordings, signature, report."""
        with Session(self.engine) as session:
            row = session.get(Inspection, request.path_params["id"])
            if row is None:
                return self._missing()
            folder = self.folder / row.folder
            try:
                findings = verify(folder, lambda opened: compiled_of((opened,), folder), self.known)
            except VoicecheckError as error:
                return self.page("gone.html.j2", 404, text=str(error))
            return self.page("checked.html.j2", row=row, findings=findings)

    def file(self, request: Request) -> Response:
        name = request.path_params["name"]
        with Session(self.engine) as session:
            row = session.get(Inspection, request.path_params["id"])
        allowed = name in (HTML, JSON, PDF) or AUDIO_NAME.fullmatch(name)
        path = self.folder / row.folder / name if row is not None and allowed else None
        if path is None or not path.is_file():
            return self._missing()
        kinds = {"html": "text/html", "json": "application/json", "pdf": "application/pdf"}
        kind = kinds.get(path.suffix[1:], f"audio/{path.suffix[1:]}")
        return FileResponse(path, headers=_HEADERS, media_type=kind)

    async def decide(self, request: Request) -> Response:
        """A decision: certify, not needed, reviewed, or taken back."""
        form = {name: str(value) for name, value in (await request.form()).items()}
        if not secrets.compare_digest(form.get("token", ""), self.token):
            return self.page(
                "gone.html.j2", 403, text="This form is from another start of the desk: go back, "
                "load the page again, and decide again."
            )  # fmt: skip
        with Session(self.engine) as session:
            row = session.get(Inspection, request.path_params["id"])
            if row is None:
                return self._missing()
            wrong = self._refuse(session, row, form)
            if wrong:
                return self._inspection(session, row, 422, wrong)
        wall = self.now().isoformat(timespec="seconds")
        try:
            log.add(
                self.folder,
                wall,
                kind=form["kind"],
                inspection=row.id,
                defect=int(form.get("defect") or 0),
                of=int(form.get("of") or 0),
                who=form["who"],
                note=form.get("note", ""),
            )
        except (ValidationError, ValueError):
            return self.page("gone.html.j2", 422, text="This decision cannot be kept as given.")
        except VoicecheckError as error:
            return self.page("gone.html.j2", 500, text=str(error))
        self.sync()
        return RedirectResponse(f"/inspection/{row.id}#decisions", 303, _HEADERS)

    def _refuse(self, session: Session, row: Inspection, form: Mapping[str, str]) -> str:
        """Why a decision is not taken, or ""."""
        if not form.get("who", "").strip():
            return "Give the name of the person who decides."
        marks = session.scalars(
            select(MarkOf).where(MarkOf.inspection == row.id, MarkOf.stands)
        ).all()
        kind, defect, of = form.get("kind", ""), form.get("defect", "0"), form.get("of", "0")
        certified = {str(m.defect) for m in marks if m.kind in ("repaired", "not needed")}
        numbers = {str(n) for n in session.scalars(_DEFECTS.where(DefectOf.inspection == row.id))}
        if kind in ("repaired", "not needed"):
            if defect not in numbers:
                return "There is no such defect in this inspection."
            if defect in certified:
                return f"Defect {defect} is certified already. Take that back first."
        elif kind == "reviewed":
            if numbers - certified:
                return "Certify each defect first; then the next driver reviews."
            if any(m.kind == "reviewed" for m in marks):
                return "This inspection is reviewed already."
        elif kind == "taken back":
            if of not in {str(m.n) for m in marks if m.kind != "taken back"}:
                return "There is no such decision to take back."
        else:
            return "Choose what is decided."
        return ""

    def questions(self, request: Request) -> Response:
        with Session(self.engine) as session:
            return self.page(
                "questions.html.j2",
                items=questions.failing_items(session),
                units=questions.returning_units(session),
                habits=questions.habits(session),
                durations=questions.durations(session),
                numbers=session.execute(
                    select(UnitOf.name, UnitOf.number).distinct().order_by(UnitOf.number)
                ).all()[:500],
                asked=request.query_params.get("unit", ""),
                trends=questions.trends(session, request.query_params.get("unit", "")),
                least=questions.LEAST_INSPECTIONS,
            )

    def again(self, request: Request) -> Response:
        self.sync()
        return RedirectResponse("/", 303, _HEADERS)

    def _missing(self) -> Response:
        return self.page("gone.html.j2", 404, text="There is nothing of that name here.")


_DEFECTS = select(DefectOf.number)
_FILTERS = ("unit", "driver", "verdict", "checklist", "first", "last", "words")


def _is_day(text: str) -> bool:
    if not _DAY.fullmatch(text):
        return False
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def application(desk: Desk) -> Starlette:
    """The pages of a desk, for a server on this machine."""

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        desk.start()
        try:
            yield
        finally:
            desk.stop()

    return Starlette(
        routes=[
            Route("/", desk.first),
            Route("/inspections", desk.inspections),
            Route("/questions", desk.questions),
            Route("/look-again", desk.again),
            Route("/inspection/{id}", desk.inspection),
            Route("/inspection/{id}/checked", desk.checked),
            Route("/inspection/{id}/decide", desk.decide, methods=["POST"]),
            Route("/inspection/{id}/{name}", desk.file),
        ],
        middleware=[Middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost"])],
        lifespan=life,
    )


def _trend(points: object) -> list[tuple[float, float]]:
    """Points of a trend in a box of 100 by 100, oldest left, greatest on top."""
    values = [float(point.value) for point in points]  # type: ignore[attr-defined]
    low, high = min(values), max(values)
    span = high - low or 1.0
    last = max(1, len(values) - 1)
    return [
        (round(100 * n / last, 2), round(100 - 100 * (value - low) / span, 2))
        for n, value in enumerate(values)
    ]


_ENVIRONMENT = Environment(
    loader=PackageLoader("voicecheck.desk", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_ENVIRONMENT.filters.update(
    day=day,
    clock=clock,
    count=count,
    capital=capital,
    outcome=lambda state: OUTCOME.get(state, state),
    trend=_trend,
)
