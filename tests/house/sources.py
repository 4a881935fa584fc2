"""The files of the project, for tests that read the code itself."""

from __future__ import annotations

import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
PACKAGES = ("config", "planning", "ledger", "reports")
TEXT = {".py", ".md", ".html", ".txt", ".css", ".js", ".po", ".yml", ".toml", ".json", ".in"}


def tracked() -> tuple[Path, ...]:
    """Every file under version control, or lying there to be: all but the ignored ones."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode == 0:
        names = [name for name in listed.stdout.split("\0") if name]
        return tuple(ROOT / name for name in sorted(names) if (ROOT / name).exists())
    skipped = {".git", ".venv", "__pycache__", "staticfiles"}
    found = (path for path in ROOT.rglob("*") if path.is_file())
    return tuple(sorted(path for path in found if not skipped & set(path.parts)))


def texts() -> tuple[tuple[Path, str], ...]:
    """Every tracked text with its words; lists of hashes left out."""
    return tuple(
        (path, path.read_text("utf-8"))
        for path in tracked()
        if path.suffix in TEXT and "requirements" not in path.parts
    )


def core_modules() -> tuple[Path, ...]:
    """The modules that promise to be pure."""
    folders = ("planning/core", "ledger/core", "reports/packets")
    return tuple(sorted(path for name in folders for path in (ROOT / name).rglob("*.py")))


def shown(path: Path) -> str:
    """A path as a person would write it."""
    return path.relative_to(ROOT).as_posix()
