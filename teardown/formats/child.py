"""One place for the child process that opens what somebody sent: little memory, little time, no shell.

A module that reads foreign bytes runs itself as ``python -m`` through :func:`ask`, and first calls
:func:`limit` there. Whatever the bytes do to the child, the process that asked goes on.
"""

import subprocess
import sys
from pathlib import Path

MEMORY_BYTES = 1_500_000_000
CPU_SECONDS = 20
WALL_SECONDS = 30
_ROOT = Path(__file__).resolve().parents[2]


def ask(
    module: str, *arguments: str, said: bytes | None = None, wall_s: float = WALL_SECONDS
) -> bytes | None:
    """Run a module of ours on foreign bytes and give what it wrote, or None if it died or took too long.

    Parameters
    ----------
    module : str
        Its dotted name; always one of this application.
    said : bytes, optional
        What it gets by standard input; nothing where not given.
    """
    command = [sys.executable, "-m", module, *arguments]
    try:
        # the command is a module of ours; arguments are paths and numbers, never a line for a shell
        done = subprocess.run(  # noqa: S603
            command,
            input=said or b"",
            capture_output=True,
            timeout=wall_s,
            cwd=_ROOT,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return None
    return done.stdout if done.returncode == 0 else None


def limit(*, memory_bytes: int = MEMORY_BYTES, cpu_s: int = CPU_SECONDS, data_alone: bool = False) -> None:
    """Bound the process that calls this; the child's own first step.

    Parameters
    ----------
    data_alone : bool
        Bound what is written to, not what is mapped: for readers that reserve more addresses than they use.
    """
    import resource

    memory = resource.RLIMIT_DATA if data_alone else resource.RLIMIT_AS
    resource.setrlimit(memory, (memory_bytes, memory_bytes))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s + 5))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
