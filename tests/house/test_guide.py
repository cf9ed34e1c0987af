"""The guide for contributors says what is so."""

import re
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
QUOTED = set(re.findall(r"`([^`\s]+)`", GUIDE))
PATHS = sorted(word for word in QUOTED if re.match(r"(teardown|tests|static|templates|\.ci)/", word))
NAMES = sorted(word for word in QUOTED if re.fullmatch(r"teardown(\.\w+)+", word))


@pytest.mark.parametrize("path", PATHS)
def test_every_file_the_guide_names_exists(path: str) -> None:
    assert (ROOT / path).exists()


@pytest.mark.parametrize("name", NAMES)
def test_every_function_the_guide_names_exists(name: str) -> None:
    module, _, function = name.rpartition(".")
    assert hasattr(import_module(module), function)


def test_every_package_has_a_line_in_the_guide() -> None:
    folders = [ROOT / "teardown", ROOT / "teardown" / "science"]
    packages = [
        path.parent.relative_to(ROOT).as_posix()
        for folder in folders
        for path in folder.glob("*/__init__.py")
    ]
    assert [package for package in packages if f"`{package}`" not in GUIDE] == []


def test_every_command_of_the_guide_and_the_readme_is_there() -> None:
    text = GUIDE + (ROOT / "README.md").read_text(encoding="utf-8")
    commands = set(re.findall(r"manage\.py (\w+)", text)) - {"check", "migrate"}
    folder = ROOT / "teardown" / "site" / "management" / "commands"
    assert sorted(name for name in commands if not (folder / f"{name}.py").exists()) == []


def test_the_top_level_stays_as_it_was_drawn() -> None:
    drawn = {
        "README.md",
        "DEVELOPERS.md",
        "manage.py",
        "pyproject.toml",
        "requirements.lock",
        "teardown",
        "templates",
        "static",
        "tests",
    }
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} - {"__pycache__"}
    assert found == drawn


def test_the_test_lock_contains_the_running_lock() -> None:
    def pins(path: str) -> set[str]:
        return set(re.findall(r"^(\S+==\S+)", (ROOT / path).read_text(encoding="utf-8"), re.MULTILINE))

    assert pins("requirements.lock") <= pins(".ci/test.lock")


@pytest.mark.parametrize("lock", ["requirements.lock", ".ci/test.lock"])
def test_the_locks_hold_no_address(lock: str) -> None:
    assert "://" not in (ROOT / lock).read_text(encoding="utf-8")
