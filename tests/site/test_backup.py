"""A backup is whole, is checked, and is put back whole or not at all."""

import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILL = """
from teardown.accounts.actions import welcome
from teardown.files.store import keep
user = welcome(username="chemist", name="Chemist", password="a long password", roles=["bench"], by=None)
for number in range(5):
    keep(f"photograph {number}".encode() * 1000, by=user, name=f"P{number}.JPG")
"""


def manage(data: Path, *arguments: str, code: int = 0) -> str:
    """Run a command of the application on a data folder of its own."""
    environment = os.environ | {
        "TEARDOWN_DATA": str(data),
        "DJANGO_SETTINGS_MODULE": "teardown.site.settings",
    }
    environment.pop("DATABASE_URL", None)
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments], cwd=ROOT, env=environment, capture_output=True, text=True
    )
    assert done.returncode == code, done.stderr
    return done.stdout + done.stderr


@pytest.mark.long
def test_a_laboratory_comes_back_on_another_machine(tmp_path: Path) -> None:
    old, safe, new = tmp_path / "old", tmp_path / "safe", tmp_path / "new"
    manage(old, "migrate", "-v0")
    manage(old, "shell", "--no-imports", "-c", FILL)
    assert "5 originals and the database up to record 1" in manage(old, "backup", str(safe))
    assert "all read again and sound" in manage(old, "backup", str(safe), "--check")
    said = manage(new, "restore", str(safe))
    assert "Everything is as it was kept." in said
    with sqlite3.connect(old / "teardown.sqlite3") as one, sqlite3.connect(new / "teardown.sqlite3") as two:
        ask = (
            "SELECT seq, hash FROM records_chainhead "
            "UNION ALL SELECT id, sha256 FROM files_storedfile ORDER BY 1, 2"
        )
        assert one.execute(ask).fetchall() == two.execute(ask).fetchall()
    one.close(), two.close()
    assert "holds a database already" in manage(new, "restore", str(safe), code=1)

    # a flipped bit in the backup is found before anything is put back
    place = next(path for path in safe.glob("*") if (path / "manifest.json").exists())
    digest = next(iter(json.loads((place / "manifest.json").read_text())["originals"]))
    path = safe / "originals" / "sha256" / digest[:2] / digest[2:4] / digest
    path.chmod(0o640)
    path.write_bytes(b"x" + path.read_bytes()[1:])
    assert f"original {digest[:16]} is changed" in manage(old, "backup", str(safe), "--check", code=1)
    assert "Nothing was put back" in manage(tmp_path / "third", "restore", str(safe), code=1)
    assert not (tmp_path / "third" / "teardown.sqlite3").exists()
    manage(old, "backup", str(safe))  # the next backup mends it
    assert "sound" in manage(old, "backup", str(safe), "--check")
