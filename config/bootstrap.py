#!/usr/bin/env python3
"""From a bare machine to a working desk, in one command.

    python3 config/bootstrap.py demo     an invented book over thirty months, then the desk
    python3 config/bootstrap.py serve    the desk alone, on the data that is there
    python3 config/bootstrap.py test     every check and every test
    python3 config/bootstrap.py up       database and broker, ready for manage.py
    python3 config/bootstrap.py down     stop what runs here
    python3 config/bootstrap.py status   what runs here
    python3 config/bootstrap.py worker   worker and scheduler in the foreground

Needs Python 3.11 and nothing else to begin with. It makes `.venv`, installs the
pinned requirements by hash, starts a database and a broker of its own unless
DATABASE_URL and REDIS_URL name others, and migrates. Every step may be run
again; what is done is not done twice.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# This folder holds a celery.py: were it first on the path, it would hide the package.
sys.path[0] = str(ROOT)

from config import environment, machine, processes  # noqa: E402 - the path is right only now
from config.machine import CannotGoOn  # noqa: E402

BEGUN = time.monotonic()
STDOUT_WIDTH = 34


@contextmanager
def step(what: str) -> Iterator[None]:
    """Say what is being done, then how long it took."""
    begun = time.monotonic()
    print(f"{what + ' ':.<{STDOUT_WIDTH}} ", end="", flush=True)
    try:
        yield
    except BaseException:
        print("failed", flush=True)
        raise
    print(f"{time.monotonic() - begun:5.1f} s", flush=True)


def run(*command: str) -> int:
    """Run a program in the checkout, in front of the person; its exit code."""
    return subprocess.run(command, cwd=ROOT, check=False).returncode


def quietly(*command: str) -> None:
    """Run a program without showing it; its words when it fails."""
    done = subprocess.run(
        command,
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if done.returncode:
        shown = " ".join(command[1:])
        raise CannotGoOn(f"`{shown}` ended with code {done.returncode}:\n{done.stdout[-4000:]}")


def manage(*arguments: str) -> None:
    """One management command, quietly."""
    quietly(sys.executable, "manage.py", *arguments)


# --- First stage: the system's Python --------------------------------------------------


def lay_ground(requirements: str, *, own_database: bool) -> None:
    """System packages, virtual environment, requirements."""
    machine.check_python()
    missing = machine.needed_packages(own_database=own_database)
    if missing:
        with step(f"system packages ({len(missing)})"):
            machine.install_packages(missing)
    if requirements == "dev":
        tools = machine.missing_packages(machine.TEST_TOOLS)
        if tools and machine.is_root():
            with step(f"test tools ({len(tools)})"):
                machine.install_packages(tools)
        elif tools:
            print(f"Without {', '.join(tools)} the tests that need them are skipped.")
    with step("virtual environment"):
        machine.make_venv()
    if not machine.is_installed(requirements):
        with step(f"Python packages ({requirements})"):
            machine.install_requirements(requirements)


def continue_in_venv() -> None:
    """Run this file again on the environment's Python; returns only when already there."""
    if Path(sys.prefix).resolve() == machine.VENV.resolve():
        return
    sys.stdout.flush()
    python = str(machine.venv_python())
    os.execv(python, [python, str(Path(__file__).resolve()), *sys.argv[1:]])  # noqa: S606


# --- Second stage: the environment's Python ----------------------------------------------


def own_services() -> tuple[bool, bool]:
    """Whether database and broker are ours to run: no variable names another."""
    return environment.OWNER_URL not in os.environ, environment.BROKER_URL not in os.environ


def start_services() -> None:
    """Database and broker running, roles made, variables in the environment."""
    from config import embedded

    own_database, own_broker = own_services()
    names = [name for name, own in (("database", own_database), ("broker", own_broker)) if own]
    with step(" and ".join(names) or "secret key"):
        embedded.prepare(own_database=own_database, own_broker=own_broker)
    if not own_database:
        from config.database import given

        with step("role in the given database"):
            os.environ[environment.APP_URL] = given.prepare(os.environ[environment.OWNER_URL])
    environment.load()


def migrate() -> None:
    """Bring the schema up to date, as the owner."""
    with step("migrations"):
        manage("migrate", "--database", "owner", "--no-input", "--verbosity", "0")


def collect_static() -> None:
    """Gather style sheets, scripts and fonts under names that carry their content."""
    with step("static files"):
        manage("collectstatic", "--no-input", "--verbosity", "0")


def up(_options: argparse.Namespace) -> int:
    """Everything manage.py needs."""
    start_services()
    migrate()
    print(f"\nReady. Data folder: {environment.data_folder()}")
    print("Next: .venv/bin/python manage.py help")
    print("Stop: python3 config/bootstrap.py down")
    return 0


def demo(options: argparse.Namespace) -> int:
    """An invented book, made by the real worker, then the desk."""
    from config import supervisor

    check_port(options)
    os.environ.setdefault("TOWPATH_LOG_LEVEL", "WARNING")  # the terminal is for the person
    # Invented people have no telephone: their second factor is offered, not asked for.
    os.environ.setdefault("TOWPATH_SECOND_FACTOR", "offered")
    start_services()
    migrate()
    collect_static()
    print("\nMaking the demo book", flush=True)
    with supervisor.running(supervisor.worker(), supervisor.beat()):
        code = run(sys.executable, "manage.py", "demo")
    if code:
        return code
    if options.no_serve:
        print("\nDatabase and broker keep running. Stop: python3 config/bootstrap.py down")
        return 0
    return run_desk(options)


def serve(options: argparse.Namespace) -> int:
    """The desk on the data that is there."""
    check_port(options)
    start_services()
    migrate()
    collect_static()
    return run_desk(options)


def check_port(options: argparse.Namespace) -> None:
    """Refuse early when the desk's port is somebody else's."""
    from config.embedded.folder import port_taken

    if not getattr(options, "no_serve", False) and port_taken(options.port):
        message = f"Port {options.port} is taken. Choose another with --port."
        raise CannotGoOn(message)


def run_desk(options: argparse.Namespace) -> int:
    """Web, worker and scheduler until Ctrl-C; then everything this run started ends."""
    from config import supervisor

    os.environ.setdefault("TOWPATH_PUBLIC_URL", f"http://127.0.0.1:{options.port}")
    pid_file = environment.data_folder() / "serve.pid"
    web = supervisor.web(options.port)
    with supervisor.running(web, supervisor.worker(), supervisor.beat()) as programs:
        pid_file.write_text(f"{os.getpid()}\n", "ascii")
        try:
            if not supervisor.wait_for_web(options.port, web):
                raise CannotGoOn("The web server did not answer; its own words are above.")
            print(f"\nThe desk: http://127.0.0.1:{options.port}/   (Ctrl-C ends everything)")
            sys.stdout.flush()
            code = supervisor.keep(programs)
            print("\nEnding", flush=True)
        finally:
            pid_file.unlink(missing_ok=True)
    stop_services()
    return code


def stop_services() -> None:
    """Stop the database and broker that are ours."""
    from config import embedded

    for name in embedded.stop():
        print(f"{name} stopped")


def down(_options: argparse.Namespace) -> int:
    """Stop the desk, the broker and the database of this data folder."""
    import signal

    from config.embedded.folder import pid_in, works_in

    pid_file = environment.data_folder() / "serve.pid"
    pid = pid_in(pid_file)
    if pid is not None and works_in(pid, ROOT):
        with step("desk"):
            os.kill(pid, signal.SIGTERM)
            until = time.monotonic() + 60
            while works_in(pid, ROOT) and time.monotonic() < until:
                time.sleep(0.1)
    stop_services()
    print(f"Nothing runs any more. The data stays in {environment.data_folder()}")
    return 0


def status(_options: argparse.Namespace) -> int:
    """What runs; exit code 0 when database and broker answer, 1 otherwise."""
    from config.status import report

    lines, healthy = report(environment.data_folder(), ROOT)
    print("\n".join(lines))
    return 0 if healthy else 1


def worker(_options: argparse.Namespace) -> int:
    """Worker and scheduler in the foreground, for a second terminal or machine."""
    from config import supervisor

    start_services()
    with supervisor.running(supervisor.worker(), supervisor.beat()) as programs:
        print("Working on all queues. Ctrl-C ends.", flush=True)
        return supervisor.keep(programs)


def test(options: argparse.Namespace) -> int:
    """Style, types, imports, migrations, system checks, then the tests."""
    start_services()
    bin_folder = machine.VENV / "bin"
    with step("style"):
        quietly(str(bin_folder / "ruff"), "check", ".")
        quietly(str(bin_folder / "ruff"), "format", "--check", ".")
    with step("types"):
        quietly(str(bin_folder / "mypy"))
    with step("imports"):
        quietly(str(bin_folder / "lint-imports"))
    with step("migrations complete"):
        manage("makemigrations", "--check", "--dry-run")
    with step("system checks"):
        manage("check")
    # Words of the person's own come alone; the whole suite is shared by the cores.
    words = options.arguments or ["-n", str(min(4, os.cpu_count() or 1)), "--dist", "worksteal"]
    code = run(sys.executable, "-m", "pytest", *words)
    print(f"\n{'All passed' if code == 0 else 'Failed'} in {time.monotonic() - BEGUN:.0f} s")
    return code


COMMANDS: dict[str, tuple[Callable[[argparse.Namespace], int], str]] = {
    "demo": (demo, "make the demo book and open the desk"),
    "serve": (serve, "open the desk on the data that is there"),
    "test": (test, "run every check and every test"),
    "up": (up, "start database and broker, migrate"),
    "down": (down, "stop what runs here"),
    "status": (status, "say what runs here"),
    "worker": (worker, "run worker and scheduler in the foreground"),
}


def parse(words: list[str]) -> argparse.Namespace:
    """The command line as options."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0] if __doc__ else "")
    commands = parser.add_subparsers(dest="command", required=True)
    for name, (_, text) in COMMANDS.items():
        command = commands.add_parser(name, help=text, description=text, add_help=name != "test")
        if name in ("demo", "serve"):
            command.add_argument("--port", type=int, default=8000, help="the desk's port")
        if name == "demo":
            command.add_argument(
                "--no-serve", action="store_true", help="make the book, then leave"
            )
    options, rest = parser.parse_known_args(words)
    if rest and options.command != "test":
        parser.error(f"unknown: {' '.join(rest)}")
    options.arguments = rest
    return options


def without_environment(command: str) -> int:
    """`down` and `status` where no environment is installed, by the data folder's notes alone."""
    folder = environment.data_folder()
    found = processes.running(folder, ROOT)
    if not found:
        print("Nothing is installed here yet.")
        return 0 if command == "down" else 1
    if command == "status":
        print(f"data folder  {folder}")
        for name in ("database", "broker", "desk"):
            print(f"{name:<12} {f'process {found[name]}' if name in found else 'not running'}")
        return 0 if {"database", "broker"} <= set(found) else 1
    ended = processes.end(folder, ROOT)
    for name in ended:
        print(f"{name} stopped")
    left = [name for name in found if name not in ended]
    if left:
        raise CannotGoOn(f"Still running: {', '.join(left)}. Try again, or end it by hand.")
    print(f"Nothing runs any more. The data stays in {folder}")
    return 0


def main(words: list[str]) -> int:
    """Run one command; 2 when a person has to do something first."""
    options = parse(words)
    own_database, _ = own_services()
    try:
        if Path(sys.prefix).resolve() != machine.VENV.resolve():
            if options.command in ("down", "status"):
                # An environment of older requirements stops and tells as well as a new one.
                if not machine.stamp_file("runtime").exists():
                    return without_environment(options.command)
            else:
                lay_ground(
                    "dev" if options.command == "test" else "runtime",
                    own_database=own_database,
                )
            continue_in_venv()
        return COMMANDS[options.command][0](options)
    except CannotGoOn as problem:
        print(f"\n{problem}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nInterrupted", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
