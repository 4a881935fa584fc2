"""What the machine must have before anything of ours can run: packages and a virtual environment.

Standard library only: runs on the system's Python, before anything is installed.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import platform
import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
REQUIREMENTS = ROOT / "config" / "requirements"
OLDEST = (3, 11)

LIBRARIES = ("ca-certificates", "libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0")
TEST_TOOLS = ("hledger", "poppler-utils")
CLUSTER_SETTINGS = Path("/etc/postgresql-common/createcluster.conf")


class CannotGoOn(Exception):  # noqa: N818 - the text is the remedy, for a person
    """The machine lacks something that we may not or cannot add; `str()` says what to do."""


def check_python() -> None:
    """Refuse a Python that is too old."""
    if sys.version_info < OLDEST:
        wanted = ".".join(map(str, OLDEST))
        message = f"Towpath needs Python {wanted} or newer; this is {platform.python_version()}."
        raise CannotGoOn(message)


def is_root() -> bool:
    """Whether we may install packages of the system."""
    return os.geteuid() == 0


def missing_packages(wanted: tuple[str, ...]) -> tuple[str, ...]:
    """Those of the Debian packages that are not installed; none where there is no dpkg."""
    if shutil.which("dpkg-query") is None:
        return ()
    shown = subprocess.run(
        ["dpkg-query", "--show", "--showformat=${Package} ${db:Status-Status}\n", *wanted],  # noqa: S607
        capture_output=True,
        text=True,
        check=False,
    )
    there = {line.split()[0] for line in shown.stdout.splitlines() if line.endswith(" installed")}
    return tuple(package for package in wanted if package not in there)


def needed_packages(*, own_database: bool) -> tuple[str, ...]:
    """The Debian packages that running Towpath takes on this machine."""
    wanted = list(LIBRARIES)
    if importlib.util.find_spec("ensurepip") is None and not (VENV / "bin" / "pip").exists():
        wanted.append("python3-venv")
    if own_database and is_root():
        wanted.append("postgresql")
    return missing_packages(tuple(wanted))


def install_packages(packages: tuple[str, ...]) -> None:
    """Install Debian packages as root; otherwise say the exact line and stop."""
    line = f"apt-get install --no-install-recommends --yes {' '.join(packages)}"
    if not is_root():
        raise CannotGoOn(f"These packages are missing. Run this as root, then start again:\n{line}")
    _apt("update")
    if "postgresql" in packages:
        _install_without_cluster(packages)
    else:
        _apt("install", *packages)


def _install_without_cluster(packages: tuple[str, ...]) -> None:
    """Install PostgreSQL without the cluster that Debian would make and start for the machine.

    The setting is put back afterwards: the machine's own choices stay its own.
    """
    if not CLUSTER_SETTINGS.exists():
        _apt("install", "postgresql-common")
    before = CLUSTER_SETTINGS.read_text("utf-8")
    CLUSTER_SETTINGS.write_text(before + "\ncreate_main_cluster = false\n", "utf-8")
    try:
        _apt("install", *packages)
    finally:
        CLUSTER_SETTINGS.write_text(before, "utf-8")


def _apt(action: str, *packages: str) -> None:
    options = ("--no-install-recommends", "--yes") if packages else ()
    done = subprocess.run(
        ["apt-get", "-qq", action, *options, *packages],  # noqa: S607
        env={**os.environ, "DEBIAN_FRONTEND": "noninteractive"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode:
        shown = " ".join(("apt-get", action, *packages))
        raise CannotGoOn(f"`{shown}` failed:\n{done.stdout[-3000:]}")


def venv_python() -> Path:
    """The Python of the project's own environment."""
    return VENV / "bin" / "python"


def make_venv() -> bool:
    """Create the environment unless a working one is there; whether it was created."""
    if venv_python().exists():
        asked = subprocess.run(
            [str(venv_python()), "-c", "import pip, sys; print(*sys.version_info[:2])"],
            capture_output=True,
            text=True,
            check=False,
        )
        if asked.returncode == 0:
            return False
        # Its Python is gone or was replaced: nothing in it can be trusted.
        shutil.rmtree(VENV)
    try:
        venv.EnvBuilder(with_pip=True, symlinks=True, clear=VENV.exists()).create(VENV)
    except (subprocess.CalledProcessError, OSError) as failed:
        shutil.rmtree(VENV, ignore_errors=True)
        message = f"Could not make {VENV}: {failed}. On Debian, install python3-venv."
        raise CannotGoOn(message) from failed
    return True


def stamp_of(name: str) -> str:
    """What tells one set of installed requirements from another."""
    text = (REQUIREMENTS / f"{name}.txt").read_bytes()
    return hashlib.sha256(text + sys.version.encode()).hexdigest()


def stamp_file(name: str) -> Path:
    """Where the environment notes the requirements it was last given."""
    return VENV / f".requirements-{name}"


def is_installed(name: str) -> bool:
    """Whether the environment holds exactly this requirements file already."""
    stamp = stamp_file(name)
    return stamp.exists() and stamp.read_text("ascii") == stamp_of(name)


def install_requirements(name: str) -> None:
    """Install one requirements file, every archive checked against its hash."""
    done = subprocess.run(
        [
            *(str(venv_python()), "-m", "pip", "install", "--quiet", "--quiet", "--no-input"),
            *("--disable-pip-version-check", "--require-hashes", "--requirement"),
            str(REQUIREMENTS / f"{name}.txt"),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode:
        raise CannotGoOn(
            f"Installing config/requirements/{name}.txt failed:\n{done.stdout[-3000:]}"
        )
    stamp_file(name).write_text(stamp_of(name), "ascii")
    if name == "dev":
        # The development list holds the runtime list.
        stamp_file("runtime").write_text(stamp_of("runtime"), "ascii")
