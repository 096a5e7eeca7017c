"""An optional page that shows the talk in large letters: place, question, hold, level.

The rules:

1. It is never needed, and nothing can be answered on it. Where it cannot be shown, all goes on.
2. It listens on the loopback address and answers only requests that name it.
3. One page, nothing fetched but its own state. When the program does not answer, the page says so
   and shows nothing old: a hold that is over, or a question that is answered, would mislead.
4. Capital letters are at least 12 mm high, for 3 m, in CSS millimetres: on a screen whose scale is
   set right. The line under the level is 100 CSS mm long, so that a ruler tells. (12 mm at 3 m are
   14 minutes of arc; common practice for signs, no source.)
"""

from __future__ import annotations

import base64
import hashlib
import socket
import threading
from collections.abc import Callable, Sequence

from voicecheck.audio.ear import level
from voicecheck.audio.microphone import Microphone
from voicecheck.checklist.compiled import Compiled
from voicecheck.session import actions as a
from voicecheck.session import records as r

PORT = 8641
SILENCE_DB = -90.0
FALL_DB = 1.5  # a block: what the level falls by, so that an eye can follow

_SCRIPT = """
const text = (id, words) => {
  const part = document.getElementById(id);
  if (part.textContent !== words) part.textContent = words;
  part.hidden = !words;
};
const show = (state) => {
  for (const id of ['hold', 'question', 'place']) text(id, state[id]);
  const heard = state.level !== null;
  const width = heard ? Math.max(0, state.level + 60) / 0.6 : 0;
  document.getElementById('bar').style.width = width + '%';
  text('level', heard ? 'Level ' + state.level + ' dB' : '');
};
const look = async () => {
  try {
    const answer = await fetch('/state', {signal: AbortSignal.timeout(2000)});
    show(await answer.json());
  } catch {
    show({hold: '', question: 'The program does not answer.', place: '', level: null});
  }
  setTimeout(look, 300);
};
look();
"""
_STYLE = """
html { background: #000; color: #fff; font: 700 max(18mm, 4vw)/1.12 sans-serif }
body { margin: 4mm }
h1, p { margin: 0 0 4mm; font-size: 1em; overflow-wrap: break-word }
#hold { background: #ffd400; color: #000; padding: 2mm 3mm }
#place, #level { color: #9fd8ff }
#scale { width: 100mm; height: 12mm; border-bottom: 1mm solid #fff; background: #333 }
#bar { height: 100%; background: #fff }
"""
_PAGE = f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>voicecheck: what is asked</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,"><style>{_STYLE}</style></head>
<body><main>
<p id="hold" role="alert" hidden></p>
<p id="question" aria-live="polite"></p>
<h1 id="place">voicecheck</h1>
<p id="level"></p>
<div id="scale"><div id="bar"></div></div>
</main><script>{_SCRIPT}</script></body></html>
"""
_DIGEST = base64.b64encode(hashlib.sha256(_SCRIPT.encode()).digest()).decode()
_HEADERS = {
    "Content-Security-Policy": f"default-src 'none'; script-src 'sha256-{_DIGEST}'; "
    "style-src 'unsafe-inline'; img-src data:; connect-src 'self'; frame-ancestors 'none'; "
    "base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class Board:
    """What stands on the page. Written by the loop and the microphone, read by the page."""

    def __init__(self) -> None:
        self.place = self.question = self.hold = ""
        self.level: float | None = None  # dB of full scale
        self.compiled: Compiled | None = None

    def told(self, actions: Sequence[a.Action]) -> None:
        """A turn of the loop, or of the talk before."""
        kept = [x.record for x in actions if isinstance(x, a.Keep)]
        said = [x.text for x in actions if isinstance(x, a.Say)]
        held = [x.text for x in kept if isinstance(x, r.MadeSafe | r.Hold)]
        moved = [x.step for x in kept if isinstance(x, r.StepStarted | r.Hold)]
        if moved and self.compiled is not None:
            self.place = self.compiled.places[self.compiled.step(moved[-1]).place]
        if held or any(isinstance(x, r.StepStarted | r.Finished) for x in kept):
            self.hold = " ".join(held)
        if said:
            self.question = "" if said[-1] in held else said[-1]

    def hear(self, block: bytes) -> None:
        """A block from the microphone."""
        peak = max(SILENCE_DB, level(block)[0])
        self.level = peak if self.level is None else max(peak, self.level - FALL_DB)

    def state(self) -> dict[str, str | int | None]:
        shown = None if self.level is None else round(self.level)
        return {"place": self.place, "question": self.question, "hold": self.hold, "level": shown}


class Metered(Microphone):
    """A microphone whose level stands on the board."""

    def __init__(self, device: int | str | None, board: Board) -> None:
        super().__init__(device)
        self._board = board

    def read(self, timeout: float) -> bytes | None:
        block = super().read(timeout)
        if block is not None:
            self._board.hear(block)
        return block


def show(board: Board, port: int, write: Callable[[str], None]) -> int:
    """Serve the page from a thread of its own until the program ends; the port, 0 without one."""
    import uvicorn  # slow to load, and only a page needs it
    from starlette.applications import Starlette
    from starlette.middleware import Middleware
    from starlette.middleware.trustedhost import TrustedHostMiddleware
    from starlette.requests import Request
    from starlette.responses import HTMLResponse, JSONResponse, Response
    from starlette.routing import Route

    async def page(request: Request) -> Response:
        return HTMLResponse(_PAGE, headers=_HEADERS)

    async def state(request: Request) -> Response:
        return JSONResponse(board.state(), headers=_HEADERS)

    try:
        bound = socket.create_server(("127.0.0.1", port))
    except (OSError, OverflowError) as error:
        write(f"(No status page: port {port} of this machine cannot be used: {error}.)")
        return 0
    hosts = Middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost"])
    application = Starlette(routes=[Route("/", page), Route("/state", state)], middleware=[hosts])
    server = uvicorn.Server(uvicorn.Config(application, log_level="warning", server_header=False))
    threading.Thread(target=server.run, args=([bound],), daemon=True, name="page").start()
    number = int(bound.getsockname()[1])
    write(f"(Status page: http://127.0.0.1:{number}/)")
    return number
