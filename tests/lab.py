"""A laboratory of its own for a test: data folder, commands and the whole tree of processes, as in use."""

# ruff: noqa: S310 - every address here is our own server on loopback
import http.client
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]


def free_port() -> int:
    """Find a port on loopback that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(
    question: Callable[[], Any],
    within_s: float = 120,
    every_s: float = 0.05,
    what: Callable[[], str] = lambda: "",
) -> Any:
    """Wait until something is true, and give it; ``what`` tells how things stand if it never is."""
    deadline = time.monotonic() + within_s
    while not (answer := question()):
        assert time.monotonic() < deadline, f"waited {within_s:.0f} s in vain: {what()}"
        time.sleep(every_s)
    return answer


class Lab:
    """A data folder and what runs on it."""

    def __init__(self, data: Path, *, template: Path | None = None, **environment: str) -> None:
        """Begin with a copy of a migrated folder, or with nothing."""
        self.data, self.port = data, free_port()
        if template is not None:
            shutil.copytree(template, data)
        self.environment = os.environ | {
            "TEARDOWN_DATA": str(data),
            "DJANGO_SETTINGS_MODULE": "tests.lab_settings",
            "TEARDOWN_UPLOAD_RESERVE_BYTES": "0",
            "TEARDOWN_WORK_LEASE_SECONDS": "3",
            "OMP_NUM_THREADS": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        # Each served laboratory has its own SQLite file, whatever database the tests themselves run on.
        self.environment.pop("DATABASE_URL", None)
        self.environment |= environment
        self.log = data.parent / f"{data.name}.log"
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Give where it answers."""
        return f"http://127.0.0.1:{self.port}/"

    def manage(self, *arguments: str, code: int = 0) -> str:
        """Run a command to its end."""
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=ROOT, env=self.environment, capture_output=True, text=True,
        )  # fmt: skip
        assert done.returncode == code, done.stdout + done.stderr
        return done.stdout

    def python(self, code: str) -> str:
        """Run a few lines inside the application."""
        return self.manage("shell", "--no-imports", "-c", code)

    def serve(self, *arguments: str) -> None:
        """Start the whole tree and wait for its first page."""
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "manage.py", "serve", "--port", str(self.port), *arguments],
                cwd=ROOT, env=self.environment, stdout=log, stderr=log, start_new_session=True,
            )  # fmt: skip
        wait_for(self.answers, within_s=180)

    def answers(self) -> bool:
        """Tell whether pages come."""
        assert self.process is None or self.process.poll() is None, self.log.read_text()
        try:
            with urllib.request.urlopen(f"{self.address}health/", timeout=2) as answer:
                return bool(answer.status == 200)
        except (OSError, urllib.error.URLError):
            return False

    def processes(self, words: str) -> list[int]:
        """Give the ids of processes of this laboratory whose command holds these words."""
        mine, found = f"TEARDOWN_DATA={self.data}".encode(), []
        for folder in Path("/proc").glob("[0-9]*"):
            try:
                if mine in (folder / "environ").read_bytes().split(b"\0") and words in (
                    folder / "cmdline"
                ).read_bytes().replace(b"\0", b" ").decode(errors="replace"):
                    found.append(int(folder.name))
            except OSError:  # gone meanwhile, or another person's
                continue
        return sorted(found)

    def ask(self, sql: str) -> list[tuple[Any, ...]]:
        """Look into the database, as a stranger to the application."""
        with closing(
            sqlite3.connect(f"file:{self.data / 'teardown.sqlite3'}?mode=ro", uri=True, timeout=20)
        ) as db:
            return db.execute(sql).fetchall()

    def kill(self, words: str) -> list[int]:
        """Kill -9 every process of this laboratory whose command holds these words."""
        gone = self.processes(words)
        for pid in gone:
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        return gone

    def stop(self) -> None:
        """End the tree as a person would; by force if it does not."""
        if self.process is None:
            return
        self.process.terminate()
        try:
            self.process.wait(30)
        except subprocess.TimeoutExpired:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
        self.process = None


class Visitor:
    """Someone with a browser's manners: cookies, forms, and uploads."""

    def __init__(self, lab: Lab) -> None:
        """Come to the door."""
        from http.cookiejar import CookieJar

        self.lab, self.jar = lab, CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar))

    def get(self, path: str) -> tuple[int, str]:
        """Ask for a page."""
        return self._open(urllib.request.Request(self.lab.address + path.lstrip("/")))

    def post(
        self, path: str, fields: dict[str, str], files: dict[str, tuple[str, bytes]] | None = None
    ) -> tuple[int, str]:
        """Send a form."""
        edge = "edge-of-a-part-7f3a"
        token = next((cookie.value for cookie in self.jar if cookie.name == "csrftoken"), "")
        body = b"".join(
            f'--{edge}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
            for name, value in (fields | {"csrfmiddlewaretoken": token or ""}).items()
        )
        for name, (file_name, data) in (files or {}).items():
            head = f'--{edge}\r\nContent-Disposition: form-data; name="{name}"; filename="{file_name}"\r\n'
            body += f"{head}Content-Type: application/octet-stream\r\n\r\n".encode() + data + b"\r\n"
        body += f"--{edge}--\r\n".encode()
        request = urllib.request.Request(self.lab.address + path.lstrip("/"), data=body, method="POST")
        request.add_header("Content-Type", f"multipart/form-data; boundary={edge}")
        request.add_header("Referer", self.lab.address)
        return self._open(request)

    def send_json(self, path: str, body: bytes, **headers: str) -> tuple[int, str]:
        """Send a JSON document, as a device does."""
        request = urllib.request.Request(self.lab.address + path.lstrip("/"), data=body, method="POST")
        token = next((cookie.value for cookie in self.jar if cookie.name == "csrftoken"), "")
        for name, value in (
            {"Content-Type": "application/json", "X-CSRFToken": token or ""} | headers
        ).items():
            request.add_header(name.replace("_", "-"), value)
        return self._open(request)

    def sign_in(self, username: str, password: str) -> None:
        """Sign in through the page."""
        status, page = self.get("/sign-in/")
        assert status == 200
        assert re.search(r'name="username"', page)
        status, page = self.post("/sign-in/", {"username": username, "password": password})
        assert "sign-in" not in self.address, page

    def _open(self, request: urllib.request.Request) -> tuple[int, str]:
        try:
            with self.opener.open(request, timeout=90) as answer:
                self.address = answer.geturl()
                return answer.status, answer.read().decode(errors="replace")
        except http.client.HTTPException as cut:
            # the server was killed between its head and its last word: such an answer acknowledges nothing
            raise ConnectionError(f"the answer was cut short: {cut!r}") from cut
        except urllib.error.HTTPError as refusal:
            self.address = refusal.geturl()
            with refusal:
                return refusal.code, refusal.read().decode(errors="replace")
