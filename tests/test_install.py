"""The one file that sets the program up on a bare machine."""

import ast
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from server import install

SERVER = Path(install.__file__).parent


def modules_asked_for(source: str) -> set[str]:
    """The first word of everything that a module imports."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        if isinstance(node, ast.ImportFrom):
            names.add((node.module or "").split(".")[0])
    return names


def test_it_asks_for_nothing_that_a_bare_machine_lacks() -> None:
    asked = modules_asked_for((SERVER / "install.py").read_text())
    assert asked <= sys.stdlib_module_names
    assert not modules_asked_for("from server.settings import settings") <= sys.stdlib_module_names


def test_nothing_beside_it_hides_a_module_of_the_standard_library() -> None:
    # Run as a script, its own folder is the first place where Python looks for "import socket".
    beside = {path.stem for path in SERVER.iterdir() if path.suffix == ".py" or path.is_dir()}
    assert beside & sys.stdlib_module_names == set()


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine with Debian's python3 and nothing else."""
    monkeypatch.delenv("CHROMIUM", raising=False)
    monkeypatch.delenv("TEST_DATABASE_URL", raising=False)
    monkeypatch.setattr(install, "find_spec", lambda name: None if name == "ensurepip" else name)
    monkeypatch.setattr(install, "find_library", lambda _name: None)
    monkeypatch.setattr("shutil.which", lambda _name: None)
    monkeypatch.setattr(Path, "glob", lambda _path, _pattern: iter(()))


@pytest.mark.usefixtures("bare")
def test_the_demo_needs_only_python_from_debian() -> None:
    assert install.missing_packages("demo") == ["python3-venv"]


@pytest.mark.usefixtures("bare")
def test_the_tests_need_a_browser_and_a_database_as_well() -> None:
    lacks = install.missing_packages("tests")
    assert lacks == ["python3-venv", "chromium", "fonts-dejavu-core", "libatomic1", "postgresql"]


@pytest.mark.usefixtures("bare")
def test_a_browser_or_a_database_named_by_the_person_is_not_looked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("CHROMIUM", "/opt/chromium")
    monkeypatch.setenv("TEST_DATABASE_URL", "postgresql://tester@localhost/postgres")
    assert install.missing_packages("tests") == ["python3-venv", "libatomic1"]


@pytest.mark.usefixtures("bare")
def test_without_root_what_is_missing_is_one_line_and_the_end(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    with pytest.raises(SystemExit) as ended:
        install.set_up("tests")
    told = capsys.readouterr().err
    assert ended.value.code == 1
    assert told.count("\n") == 1
    assert "apt-get install" in told
    assert "python3-venv chromium fonts-dejavu-core libatomic1 postgresql" in told


Program = Callable[[str, str], None]


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Program:
    """Puts a program of ours first on PATH."""
    monkeypatch.setenv("PATH", f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}")
    (tmp_path / "bin").mkdir()

    def put(name: str, script: str) -> None:
        (tmp_path / "bin" / name).write_text(f"#!/bin/sh\n{script}\n")
        (tmp_path / "bin" / name).chmod(0o755)

    return put


def test_as_root_packages_are_installed(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, program: Program
) -> None:
    monkeypatch.setattr("os.geteuid", lambda: 0)
    program("apt-get", f'echo "$@" >> {tmp_path}/asked')
    install.Apt(["chromium", "postgresql"]).wait()
    update, fetch = (tmp_path / "asked").read_text().splitlines()
    assert update == "-qq update"
    assert fetch == "-qq install -y --no-install-recommends chromium postgresql"


def test_when_packages_cannot_be_installed_the_reason_is_shown(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], program: Program
) -> None:
    monkeypatch.setattr("os.geteuid", lambda: 0)
    program("apt-get", "echo 'no such package'; exit 100")
    with pytest.raises(SystemExit) as ended:
        install.Apt(["chromium"]).wait()
    assert ended.value.code == 1
    assert "no such package" in capsys.readouterr().err


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that counts as set up for the tests."""
    for name in (
        "pyproject.toml",
        "build.lock",
        "uv.lock",
        "demo.lock",
        "tests.lock",
        ".npmrc",
        "vendor/.stamp",
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(name)
    for name, value in {
        "ROOT": tmp_path,
        "BUILD": tmp_path,
        "STAMP": tmp_path / "stamp",
        "BUILD_LOCK": tmp_path / "build.lock",
        "UV_LOCK": tmp_path / "uv.lock",
        "LOCKS": {"demo": tmp_path / "demo.lock", "tests": tmp_path / "tests.lock"},
        "BROUGHT": {"demo": [tmp_path / "vendor"], "tests": [tmp_path / "vendor"]},
        "missing_packages": lambda _what: [],
        "have_uv": lambda: True,
    }.items():
        monkeypatch.setattr(install, name, value)
    return tmp_path


@pytest.fixture
def installed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was installed, by its lock, instead of installing it."""
    locks: list[str] = []
    monkeypatch.setattr(install, "by_uv", lambda lock: locks.append(lock.name))
    monkeypatch.setattr(install, "by_pip", lambda lock: locks.append(f"pip {lock.name}"))
    return locks


@pytest.mark.usefixtures("checkout")
def test_what_is_set_up_is_not_set_up_again(installed: list[str]) -> None:
    install.set_up("demo")
    install.set_up("demo")
    assert installed == ["demo.lock"]


@pytest.mark.usefixtures("checkout")
def test_what_suffices_for_the_tests_suffices_for_the_demo(installed: list[str]) -> None:
    install.set_up("demo")
    install.set_up("tests")
    install.set_up("demo")
    assert installed == ["demo.lock", "tests.lock"]


@pytest.mark.parametrize("changed", ["pyproject.toml", "demo.lock", "build.lock", ".npmrc"])
def test_a_change_of_what_it_is_made_from_sets_it_up_again(
    checkout: Path, installed: list[str], changed: str
) -> None:
    install.set_up("demo")
    (checkout / changed).write_text("changed")
    install.set_up("demo")
    assert installed == ["demo.lock", "demo.lock"]


def test_scripts_that_went_missing_are_brought_again(checkout: Path, installed: list[str]) -> None:
    install.set_up("demo")
    (checkout / "vendor" / ".stamp").unlink()
    install.set_up("demo")
    assert installed == ["demo.lock", "demo.lock"]


@pytest.mark.usefixtures("checkout")
def test_a_set_up_that_broke_off_does_not_count(
    installed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_off(_lock: Path) -> None:
        raise SystemExit(1)

    install.set_up("demo")
    with monkeypatch.context() as broken:
        broken.setattr(install, "by_uv", break_off)
        with pytest.raises(SystemExit):
            install.set_up("tests")
    install.set_up("demo")
    assert installed == ["demo.lock", "demo.lock"]


@pytest.mark.usefixtures("checkout")
def test_pip_does_it_where_uv_cannot_be_had(installed: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(install, "have_uv", lambda: False)
    install.set_up("demo")
    assert installed == ["pip demo.lock"]


def test_a_busy_port_leads_to_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", 0))
        busy.listen()
        monkeypatch.setattr(install, "FIRST_PORT", busy.getsockname()[1])
        assert install.free_port() > busy.getsockname()[1]


def python(script: str) -> tuple[str, ...]:
    """A step that runs Python instead of a check."""
    return (sys.executable, "-c", script)


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """The test command with steps of ours, all of which pass."""
    monkeypatch.setattr(install, "set_up", lambda _what: install.Apt([]))
    monkeypatch.setattr(install, "CHECKS", (python("pass"),))
    monkeypatch.setattr(install, "SERIAL_TESTS", (python("pass"),))
    monkeypatch.setattr(install, "OTHER_TESTS", python("print('dots'); print('== 3 passed in 1 s ==')"))
    return monkeypatch


@pytest.mark.usefixtures("steps")
def test_when_everything_passes_the_command_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    assert install.tests() == 0
    assert capsys.readouterr().out.endswith("dots\n== 3 passed in 1 s ==\n")


@pytest.mark.parametrize("code", [1, 5])
@pytest.mark.parametrize("where", ["CHECKS", "SERIAL_TESTS"])
def test_whatever_fails_is_named_before_the_closing_line(
    steps: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], where: str, code: int
) -> None:
    steps.setattr(install, where, (python(f"raise SystemExit({code})"),))
    assert install.tests() == 1
    *_, named, closing = capsys.readouterr().out.splitlines()
    assert named.startswith("FAILED before this: ")
    assert closing == "== 3 passed in 1 s =="


@pytest.mark.parametrize("code", [1, 5])
def test_the_last_run_counts_too(steps: pytest.MonkeyPatch, code: int) -> None:
    steps.setattr(install, "OTHER_TESTS", python(f"raise SystemExit({code})"))
    assert install.tests() == 1


DEMO = """
import pathlib, sys
from server import install
install.BIN = pathlib.Path(sys.executable).parent
install.set_up = lambda what: install.Apt([])
sys.exit(install.main())
"""


@pytest.fixture
def demo(tmp_path: Path) -> Callable[[], "subprocess.Popen[str]"]:
    """Starts the demo in a process of its own, as a shell would."""

    def start() -> "subprocess.Popen[str]":
        return subprocess.Popen(
            [sys.executable, "-u", "-c", DEMO, "demo"],
            env={
                **os.environ,
                "COLDSTEAD_HOME": str(tmp_path / "home"),
                "COLDSTEAD_DATABASE_URL": "nonsense",
            },
            cwd=SERVER.parent,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )

    return start


def told_until_open(running: "subprocess.Popen[str]") -> str:
    """What the demo says until it says where to look."""
    assert running.stdout
    told = ""
    for line in running.stdout:
        told += line
        if line.startswith("Open http://"):
            return told
    raise AssertionError(told)


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_the_demo_says_where_it_is_and_how_to_sign_in_and_ends_when_told(
    demo: Callable[[], "subprocess.Popen[str]"], tmp_path: Path, how: signal.Signals
) -> None:
    with demo() as running:
        told = told_until_open(running)
        port = int(told.rsplit(":", 1)[1].strip(" /\n"))
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.sendall(b"GET / HTTP/1.0\r\n\r\n")
            answer = line.recv(100).decode()
        # Ctrl-C reaches every process of the terminal's group.
        os.killpg(running.pid, how)
        rest = running.communicate(timeout=20)[0]
    assert answer.startswith(("HTTP/1.1 303", "HTTP/1.1 200"))
    assert "password" in told
    assert (tmp_path / "home" / "coldstead.db").is_file()
    assert running.returncode == (0 if how == signal.SIGINT else 143)
    assert "Traceback" not in rest


def test_the_demo_is_filled_once(demo: Callable[[], "subprocess.Popen[str]"]) -> None:
    for _time in range(2):
        with demo() as running:
            told = told_until_open(running)
            os.killpg(running.pid, signal.SIGTERM)
            running.communicate(timeout=20)
        assert "password" in told


def test_a_server_that_cannot_start_is_noticed() -> None:
    begun = time.monotonic()
    ended = subprocess.Popen([sys.executable, "-c", "pass"])
    assert not install.answers(ended, 1)
    assert time.monotonic() - begun < 20
