"""Serve the application: web server, worker and reaper in one tree of processes."""

import logging
import os
import socket
import sys
import threading
import time
import urllib.error
import urllib.request
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import close_old_connections

from teardown.files import runs, tasks
from teardown.site import lock, statics
from teardown.site.supervisor import Child, Supervisor

log = logging.getLogger(__name__)
LOOPBACK = {"127.0.0.1", "localhost", "::1"}
REAP_EVERY_S = 5.0


class Command(BaseCommand):
    """Bring the database up to date, then keep server, worker and reaper alive until told to stop."""

    help = "Serve the application and work in the background. Stop it with Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take address and numbers of processes."""
        parser.add_argument(
            "--host", default="127.0.0.1", help="address to listen at (default: this machine alone)"
        )
        parser.add_argument("--port", type=int, default=8000, help="port to listen at (default: 8000)")
        parser.add_argument("--workers", type=int, default=2, help="processes that answer pages (default: 2)")
        parser.add_argument("--measurers", type=int, default=1, help="processes that measure (default: 1)")
        parser.add_argument("--certificate", help="file with the certificate, to serve over HTTPS")
        parser.add_argument("--key", help="file with the key of the certificate (PKCS#8)")
        parser.add_argument(
            "--demo", action="store_true", help="go on telling the invented laboratory's story"
        )

    def handle(self, **options: Any) -> None:
        """Serve."""
        if bool(options["certificate"]) != bool(options["key"]):
            raise CommandError("HTTPS needs both --certificate and --key.")
        address = _address(options)
        try:
            with lock.hold(settings.DATA_DIR / "serve.lock", address=address):
                self.serve(address, options)
        except lock.Taken as taken:
            raise CommandError(
                f"Process {taken.holder.get('process', '?')} already serves {settings.DATA_DIR} at "
                f"{taken.holder.get('address', 'another address')}. "
                "Stop that one, or set TEARDOWN_DATA to another folder."
            ) from None

    def serve(self, address: str, options: dict[str, Any]) -> None:
        """Prepare, start, announce, and look after the processes until told to stop."""
        begun = time.monotonic()
        _demand_free_port(options["host"], options["port"])
        call_command("migrate", interactive=False, verbosity=0)
        statics.collect()
        supervisor = Supervisor(_children(options), say=self.say, on_death=let_go)
        supervisor.listen()
        for work in (lambda: _reap(supervisor.stop), lambda: self.announce(address, begun, supervisor.stop)):
            threading.Thread(target=work, daemon=True).start()
        supervisor.run()
        for child in supervisor.children:  # one that did not end in time was in the middle of a run
            if child.process is not None:
                let_go(child, child.process.pid, tried=False)
        self.say("Stopped.")

    def announce(self, address: str, begun: float, stop: threading.Event) -> None:
        """Say where the application is as soon as it answers."""
        while not stop.wait(0.1):
            if _answers(address):
                self.say(f"{settings.LABORATORY}: {address}  (ready after {time.monotonic() - begun:.1f} s)")
                self.say(f"Data in {settings.DATA_DIR}. Stop with Ctrl-C.")
                return

    def say(self, words: str) -> None:
        """Print at once, also into a pipe."""
        self.stdout.write(words)
        self.stdout.flush()


def _address(options: dict[str, Any]) -> str:
    host = options["host"]
    shown = "127.0.0.1" if host in ("0.0.0.0", "::") else f"[{host}]" if ":" in host else host  # noqa: S104
    return f"{'https' if options['certificate'] else 'http'}://{shown}:{options['port']}/"


def _children(options: dict[str, Any]) -> list[Child]:
    environment = {"TEARDOWN_SUPERVISED": "1"}
    if options["host"] not in LOOPBACK and "TEARDOWN_HOSTS" not in os.environ:
        environment["TEARDOWN_HOSTS"] = ",".join(sorted(names_of_this_machine(options["host"])))
    web = [sys.executable, "-m", "granian", "--interface", "wsgi", "--no-ws", "--log-level", "warning"]
    web += ["--host", options["host"], "--port", str(options["port"])]
    web += ["--workers", str(options["workers"]), "--blocking-threads", "4", "--respawn-failed-workers"]
    if options["certificate"]:
        environment["TEARDOWN_HTTPS"] = "1"
        web += ["--ssl-certificate", options["certificate"], "--ssl-keyfile", options["key"]]
    children = [Child("The server", [*web, "teardown.site.wsgi:application"], environment)]
    numbers = range(1, options["measurers"] + 1)
    children += [Child(f"Worker {number}", worker_command(), environment) for number in numbers]
    if options["demo"]:
        teller = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo", "--go-on"]
        children.append(Child("The teller", teller, environment, once=True))
    return children


def worker_command() -> list[str]:
    """Give the command of a worker that hears the doorbell that the settings name."""
    if settings.TASKS["default"]["BACKEND"] == "teardown.site.celery.CeleryBackend":
        return [
            sys.executable, "-m", "celery", "-A", "teardown.site.celery", "worker",
            "--concurrency", "1", "--loglevel", "warning",
        ]  # fmt: skip
    manage = str(settings.BASE_DIR / "manage.py")
    return [
        sys.executable, manage, "db_worker", "--queue-name", "*", "--interval", "0.5",
        "--no-startup-delay", "--no-reload", "--verbosity", "0",
    ]  # fmt: skip


def names_of_this_machine(host: str) -> set[str]:
    """Give the names that a tablet in the room may call this machine by."""
    name = socket.gethostname()
    names = {"localhost", "127.0.0.1", "[::1]", name, f"{name}.local"}
    if host not in ("0.0.0.0", "::"):  # noqa: S104 - compared, not listened at
        return names | {host}
    try:
        names |= {str(found[4][0]) for found in socket.getaddrinfo(name, None, socket.AF_INET)}
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(("192.0.2.1", 9))  # nothing is sent: the kernel only chooses the way out
            names.add(probe.getsockname()[0])
    except OSError:
        pass  # no network: the names of the machine itself remain
    return names


def let_go(child: Child, pid: int, *, tried: bool = True) -> None:
    """Free at once the runs of a worker that is gone, instead of waiting for their lease to end."""
    try:
        runs.let_go(f"{socket.gethostname()}:{pid}:", tried=tried)
    except Exception:
        log.exception("could not free the runs of process %s; their lease will end by itself", pid)


def _reap(stop: threading.Event) -> None:
    while not stop.wait(REAP_EVERY_S):
        try:
            tasks.reap()
        except Exception:
            log.exception("could not look for silent runs; trying again")
        finally:
            close_old_connections()


def _answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}health/", timeout=2) as answer:  # noqa: S310 - our own address
            return bool(answer.status == 200)
    except urllib.error.HTTPError:
        return True  # it answers, if with a refusal of this name
    except (OSError, urllib.error.URLError) as error:
        return "CERTIFICATE" in str(error)


def _demand_free_port(host: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CommandError(
                f"Cannot listen at {host}:{port}: {error.strerror}. Choose another --port."
            ) from None
