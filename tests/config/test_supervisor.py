"""Programs that are kept running, and end together."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from config import supervisor
from config.embedded.folder import is_alive
from config.supervisor import Program
from tests.house.sources import ROOT


def sleeper(name: str = "sleeper") -> Program:
    return Program(name, (sys.executable, "-c", "import time; time.sleep(60)"))


def gone(pid: int, seconds: float = 5) -> bool:
    """Whether a process that is not our child ends in time."""
    until = time.monotonic() + seconds
    while is_alive(pid) and time.monotonic() < until:
        state = Path(f"/proc/{pid}/stat")
        if state.exists() and state.read_text("ascii").rpartition(")")[2].split()[0] == "Z":
            return True
        time.sleep(0.05)
    return not is_alive(pid)


def test_programs_end_with_the_block():
    with supervisor.running(sleeper(), sleeper()) as programs:
        assert [program.ended() for program in programs] == [None, None]
    assert [program.ended() for program in programs] == [-signal.SIGTERM, -signal.SIGTERM]


def test_programs_end_when_the_block_fails():
    program = sleeper()

    def fail() -> None:
        with supervisor.running(program):
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert program.ended() is not None


def test_one_that_falls_over_at_its_start_ends_everything(capsys: pytest.CaptureFixture[str]):
    with supervisor.running(Program("bad", (sys.executable, "-c", "raise SystemExit(3)"))) as all_:
        assert supervisor.keep(all_) == 3
    assert "bad ended with code 3" in capsys.readouterr().out


def test_a_variable_reaches_only_the_program_it_is_for(tmp_path: Path):
    file = tmp_path / "seen"
    code = f"import os; open({str(file)!r}, 'w').write(os.environ['ONLY_HERE'])"
    program = Program("writer", (sys.executable, "-c", code), {"ONLY_HERE": "yes"})
    program.start()
    assert program.process is not None
    program.process.wait()
    assert file.read_text("utf-8") == "yes"
    assert "ONLY_HERE" not in os.environ


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's parent-death signal")
def test_nothing_is_left_behind_when_the_supervisor_is_killed():
    code = (
        "import sys, time; from config.supervisor import Program;"
        "p = Program('s', (sys.executable, '-c', 'import time; time.sleep(60)')); p.start();"
        "print(p.process.pid, flush=True); time.sleep(60)"
    )
    parent = subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert parent.stdout is not None
    child = int(parent.stdout.readline())
    parent.kill()
    parent.wait()
    parent.stdout.close()
    assert gone(child)


def test_the_web_server_counts_as_up_only_when_it_answers():
    program = Program("quiet", (sys.executable, "-c", "pass"))
    program.start()
    assert not supervisor.wait_for_web(1, program, seconds=2)
