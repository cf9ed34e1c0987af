"""Keeps processes alive: starts them, starts again what dies, ends all of them together.

Knows nothing of Django. Each child leads a process group of its own, so that what it leaves behind can be
ended with it, and is told by the kernel (Linux) when its supervisor dies.
"""

import ctypes
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

FIRST_PAUSE_S, LONGEST_PAUSE_S, HEALTHY_AFTER_S = 1.0, 30.0, 60.0
_PR_SET_PDEATHSIG = 1
_LIBC = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None


def end_with_parent(signum: int = signal.SIGTERM) -> None:
    """Have the kernel send this process a signal when the one that started it dies. Linux only."""
    if _LIBC is not None:
        _LIBC.prctl(_PR_SET_PDEATHSIG, int(signum), 0, 0, 0)


def leave_when_orphaned(every_s: float = 0.5) -> None:
    """Leave as soon as the parent of this process is gone: for a child of a child, on any system."""
    parent = os.getppid()

    def look() -> None:
        while os.getppid() == parent:
            time.sleep(every_s)
        os._exit(1)  # no clean-up: its server is gone, and nothing acknowledged waits in memory

    threading.Thread(target=look, daemon=True, name="orphan watch").start()


@dataclass
class Child:
    """One process to be kept alive, and how it has fared; one that is needed ``once`` may end in peace."""

    name: str
    command: Sequence[str]
    environment: Mapping[str, str] = field(default_factory=dict)
    once: bool = False
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    starts: int = 0
    pause_s: float = FIRST_PAUSE_S
    due: float = 0.0

    def start(self, now: float) -> None:
        """Start the process in a group of its own."""
        self.process = subprocess.Popen(  # noqa: S603 - our own commands
            list(self.command),
            env=os.environ | dict(self.environment),
            stdin=subprocess.DEVNULL,
            start_new_session=True,
            preexec_fn=end_with_parent,
        )
        self.started, self.starts = now, self.starts + 1

    def look(self, now: float) -> int | None:
        """Start what is due; give the process id of one that has just died."""
        if self.process is None:
            if now >= self.due:
                self.start(now)
            return None
        if self.process.poll() is None or (self.once and self.process.returncode == 0):
            return None
        dead = self.process.pid
        self._end_group(signal.SIGKILL)  # what a killed server left behind holds its port
        if now - self.started >= HEALTHY_AFTER_S:
            self.pause_s = FIRST_PAUSE_S
        self.due = now + self.pause_s
        self.pause_s = min(self.pause_s * 2, LONGEST_PAUSE_S)
        self.process = None
        return dead

    def end(self) -> None:
        """Ask the process to end."""
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()

    def finish(self) -> None:
        """End whatever is left of the group."""
        if self.process is not None:
            self._end_group(signal.SIGKILL)
            self.process.wait()

    def _end_group(self, signum: int) -> None:
        if self.process is not None:
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(self.process.pid, signum)


class Supervisor:
    """Looks after children until it is told to stop."""

    def __init__(
        self,
        children: Sequence[Child],
        *,
        say: Callable[[str], None] = print,
        on_death: Callable[[Child, int], None] = lambda child, pid: None,
        grace_s: float = 20.0,
    ) -> None:
        """Take the children; ``on_death`` learns of each one that died, with its process id."""
        self.children, self.say, self.on_death, self.grace_s = list(children), say, on_death, grace_s
        self.stop = threading.Event()

    def listen(self) -> None:
        """Stop on SIGTERM and SIGINT."""
        for signum in (signal.SIGTERM, signal.SIGINT):
            signal.signal(signum, lambda *_: self.stop.set())

    def run(self) -> None:
        """Look after the children; come back when all of them have ended."""
        try:
            while not self.stop.is_set():
                for child in self.children:
                    dead = child.look(time.monotonic())
                    if dead is not None:
                        wait_s = child.due - time.monotonic()
                        self.say(f"{child.name} ended by itself; starting it again in {wait_s:.0f} s")
                        self.on_death(child, dead)
                self.stop.wait(0.2)
        finally:
            self.end()

    def end(self) -> None:
        """Ask all children to end, wait, and end by force what does not."""
        for child in self.children:
            child.end()
        deadline = time.monotonic() + self.grace_s
        for child in self.children:
            if child.process is not None:
                try:
                    child.process.wait(max(0.1, deadline - time.monotonic()))
                except subprocess.TimeoutExpired:
                    self.say(f"{child.name} did not end in {self.grace_s:.0f} s and was ended by force")
            child.finish()
