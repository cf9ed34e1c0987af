"""What is started stays alive, and ends with its supervisor."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from teardown.site import lock
from teardown.site.supervisor import FIRST_PAUSE_S, Child, Supervisor

SLEEPS = [sys.executable, "-c", "import time; time.sleep(60)"]


def wait_for(question: Callable[[], object], within_s: float = 60) -> None:
    """Wait until something is true."""
    deadline = time.monotonic() + within_s
    while not question():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.02)


def runs(pid: int) -> bool:
    """Tell whether a process is there and no corpse."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def test_what_dies_is_started_again_and_told_of() -> None:
    child, deaths = Child("a child", SLEEPS), []
    supervisor = Supervisor([child], say=lambda words: None, on_death=lambda child, pid: deaths.append(pid))
    thread = threading.Thread(target=supervisor.run)
    thread.start()
    try:
        wait_for(lambda: child.process)
        first = child.process.pid
        os.kill(first, signal.SIGKILL)
        wait_for(lambda: child.starts == 2)
        assert deaths == [first]
        assert runs(child.process.pid)
    finally:
        supervisor.stop.set()
        thread.join()
    assert not runs(child.process.pid)


def test_the_pauses_grow_while_it_keeps_dying_and_shrink_when_it_was_well() -> None:
    child = Child("a child", [sys.executable, "-c", "raise SystemExit(1)"])
    pauses = []
    for _ in range(7):
        now = child.due
        child.look(now)
        child.process.wait()
        assert child.look(now + 0.5) is not None
        pauses.append(child.due - (now + 0.5))
    assert pauses == [1, 2, 4, 8, 16, 30, 30]
    child.look(child.due)
    child.process.wait()
    child.look(child.started + 61)
    assert child.due == child.started + 61 + 1
    assert child.pause_s == 2 * FIRST_PAUSE_S


def test_what_a_child_leaves_behind_goes_with_it(tmp_path: Path) -> None:
    word = tmp_path / "grandchild"
    code = (
        "import subprocess, sys, pathlib, time;"
        "p = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)']);"
        f"pathlib.Path({str(word)!r}).write_text(str(p.pid)); time.sleep(60)"
    )
    child = Child("a child", [sys.executable, "-c", code])
    child.look(0)
    wait_for(lambda: word.exists() and word.read_text())
    grandchild = int(word.read_text())
    os.kill(child.process.pid, signal.SIGKILL)
    child.process.wait()
    child.look(1)
    wait_for(lambda: not runs(grandchild))


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells a child that its parent died")
def test_children_end_with_a_killed_supervisor(tmp_path: Path) -> None:
    word = tmp_path / "child"
    code = (
        "import pathlib, sys, threading\n"
        "from teardown.site.supervisor import Child, Supervisor\n"
        "child = Child('a child', [sys.executable, '-c', 'import time; time.sleep(60)'])\n"
        "child.start(0)\n"
        f"pathlib.Path({str(word)!r}).write_text(str(child.process.pid))\n"
        "threading.Event().wait()\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], cwd=Path(__file__).parents[2])
    wait_for(lambda: word.exists() and word.read_text())
    assert runs(int(word.read_text()))
    parent.kill()
    parent.wait()
    wait_for(lambda: not runs(int(word.read_text())))


def test_a_child_that_will_not_end_is_ended_by_force(tmp_path: Path) -> None:
    word = tmp_path / "deaf now"
    deaf = (
        "import pathlib, signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN);"
        f"pathlib.Path({str(word)!r}).touch(); time.sleep(60)"
    )
    child, words = Child("a deaf child", [sys.executable, "-c", deaf]), []
    supervisor = Supervisor([child], say=words.append, grace_s=0.3)
    child.look(0)
    wait_for(word.exists)
    supervisor.end()
    assert child.process.returncode == -signal.SIGKILL
    assert words == ["a deaf child did not end in 0 s and was ended by force"]


def test_one_holder_a_lock_and_it_is_known_by_name(tmp_path: Path) -> None:
    path = tmp_path / "serve.lock"
    with lock.hold(path, address="http://127.0.0.1:8000/"):
        with pytest.raises(lock.Taken) as refused, lock.hold(path):
            pass
        assert refused.value.holder == {"process": str(os.getpid()), "address": "http://127.0.0.1:8000/"}
    with lock.hold(path):
        assert lock.holder(path)["process"] == str(os.getpid())
    assert lock.holder(path) == {}


def test_a_killed_holder_lets_go(tmp_path: Path) -> None:
    path = tmp_path / "serve.lock"
    code = (
        "import sys, time, pathlib; from teardown.site import lock\n"
        f"with lock.hold(pathlib.Path({str(path)!r})): print('held', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen(
        [sys.executable, "-c", code], cwd=Path(__file__).parents[2], stdout=subprocess.PIPE
    )
    assert holder.stdout.readline() == b"held\n"
    with pytest.raises(lock.Taken), lock.hold(path):
        pass
    holder.kill()
    holder.wait()
    with lock.hold(path):
        pass
    holder.stdout.close()
