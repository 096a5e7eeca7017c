"""How long the desk's pages take over many inspections.

``python -m tests.bench.desk [--inspections 10000] [--folder FOLDER]``. The inspections are real
walks of the coupling under other names and days (tests/desk/generated.py); a folder that is given
is kept and used again. Times are of whole requests to a server on this machine, the middle and the
worst of five.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx2
import uvicorn

from tests.desk.generated import inspection, write
from voicecheck.desk.web import Desk, application

ASKED = (
    "/", "/inspections", "/inspections?page=100", "/inspections?unit=HLT-4",
    "/inspections?driver=varga",
    "/inspections?verdict=stopped", "/inspections?words=lamp&first=2027-01-01&last=2028-01-01",
    "/inspections?unit=HL-211&driver=brandt&verdict=complete&checklist=couple", "/questions",
    "/questions?unit=HLT-42K2",
)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inspections", type=int, default=10_000)
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    with contextlib.ExitStack() as stack:
        folder = given.folder or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        folder.mkdir(exist_ok=True)
        for n in range(given.inspections):
            if not (folder / f"couple-{n:05}").exists():
                write(folder, inspection(n))
        desk = Desk(folder, {}, lambda: datetime.datetime.now().astimezone())
        for words in ("first look through the folder", "second look, nothing new"):
            began = time.perf_counter()
            desk.sync()
            print(f"{words}: {time.perf_counter() - began:.2f} s")
        with _served(desk) as address, httpx2.Client(base_url=address, timeout=60) as client:
            for path in ASKED:
                times = []
                for _ in range(5):
                    began = time.perf_counter()
                    client.get(path).raise_for_status()
                    times.append(1000 * (time.perf_counter() - began))
                print(f"{statistics.median(times):7.0f} ms, worst {max(times):5.0f} ms  {path}")


@contextlib.contextmanager
def _served(desk: Desk) -> Iterator[str]:
    server = uvicorn.Server(uvicorn.Config(application(desk), port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join()


if __name__ == "__main__":
    main()
