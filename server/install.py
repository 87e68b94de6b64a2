#!/usr/bin/env python3
"""Sets the program up on this machine, and runs it.

    python3 server/install.py demo      the program with an invented laboratory, in a browser
    python3 server/install.py tests     every check and every test

Everything is put into the checkout: `.venv` holds the program and what it needs, `.uv` the tool that fetches
it. What only Debian can bring is installed when this runs as root, and otherwise named in one line. Only the
standard library is used here, since nothing else is there yet.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from ctypes.util import find_library
from importlib.util import find_spec
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
BUILD = ROOT / ".build"
VENV = ROOT / ".venv"
BIN = VENV / "bin"
UV = ROOT / ".uv" / "bin" / "uv"
STAMP = VENV / "coldstead-set-up"
LOCKS = {"demo": BUILD / "requirements.lock", "tests": BUILD / "requirements-tests.lock"}
BUILD_LOCK = BUILD / "requirements-build.lock"
UV_LOCK = BUILD / "requirements-uv.lock"
BROUGHT = {"demo": [ROOT / "static" / "vendor"], "tests": [ROOT / "static" / "vendor", BUILD / "testing"]}
FIRST_PORT = 8000
OLDEST_PYTHON = (3, 11)


def main() -> int:
    """Do what the command line asks for; the exit code says how it went."""
    as_written = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=as_written)
    parser.add_argument("what", choices=["demo", "tests"])
    what = parser.parse_args().what
    if sys.version_info < OLDEST_PYTHON:
        stop("Python 3.11 or newer is needed; this is " + sys.version.split()[0] + ".")
    os.chdir(ROOT)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    try:
        return demo() if what == "demo" else tests()
    except KeyboardInterrupt:
        return 130


def say(text: str) -> None:
    """One line to the person at the terminal, at once."""
    print(text, flush=True)


def stop(text: str) -> NoReturn:
    """End with a reason and exit code 1."""
    print(text, file=sys.stderr, flush=True)
    raise SystemExit(1)


# ------------------------------------------------------------------------------------ what Debian brings


def missing_packages(what: str) -> list[str]:
    """The Debian packages this machine lacks for `what`."""
    lacks = [] if find_spec("venv") and find_spec("ensurepip") else ["python3-venv"]
    if what == "demo":
        return lacks
    if not (os.environ.get("CHROMIUM") or shutil.which("chromium")):
        lacks += ["chromium", "fonts-dejavu-core"]
    if not find_library("atomic"):
        lacks += ["libatomic1"]  # the browser's driver cannot start without it
    initdb = shutil.which("initdb") or list(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if not (os.environ.get("TEST_DATABASE_URL") or initdb):
        lacks += ["postgresql"]
    return lacks


class Apt:
    """Debian's packages on their way, beside other work; `wait` before they are needed."""

    def __init__(self, packages: list[str]) -> None:
        self.packages = packages
        if not packages:
            return
        if os.geteuid() != 0 or not shutil.which("apt-get"):
            stop("This machine lacks: apt-get install --no-install-recommends " + " ".join(packages))
        say("From Debian: " + " ".join(packages))
        script = 'apt-get -qq update && apt-get -qq install -y --no-install-recommends "$@"'
        self.process = subprocess.Popen(
            ["sh", "-c", script, "sh", *packages],
            env={**os.environ, "DEBIAN_FRONTEND": "noninteractive"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )

    def wait(self) -> None:
        """Return when all is there; else show what apt said and stop."""
        if not self.packages:
            return
        told, _ = self.process.communicate()
        if self.process.returncode:
            stop(told.decode(errors="replace") + "\napt-get could not install what is missing.")


# ------------------------------------------------------------------------------------ the environment


def set_up(what: str) -> Apt:
    """Make `.venv` fit for `what`. Debian's other packages may still be on their way when this returns."""
    lacks = missing_packages(what)
    if os.geteuid() == 0 and "python3-venv" in lacks:
        lacks.remove("python3-venv")
        Apt(["python3-venv"]).wait()
    apt = Apt(lacks)
    if not is_set_up(what):
        say("Setting up .venv …")
        begun = time.monotonic()
        STAMP.unlink(missing_ok=True)
        (by_uv if have_uv() else by_pip)(LOCKS[what])
        # What suffices for the tests suffices for the demo.
        STAMP.write_text("\n".join(digest(goal) for goal in ("demo", what)))
        say(f"Set up in {time.monotonic() - begun:.0f} s.")
    return apt


def is_set_up(what: str) -> bool:
    """True when nothing changed since `.venv` was made fit for `what`."""
    marked = STAMP.is_file() and digest(what) in STAMP.read_text().split()
    return marked and all((folder / ".stamp").is_file() for folder in BROUGHT[what])


def digest(what: str) -> str:
    """A mark of everything that the environment for `what` was made from."""
    made_from = hashlib.sha256(f"{what} {sys.version} {ROOT}".encode())
    files = [LOCKS[what], ROOT / "pyproject.toml", *sorted(BUILD.glob("*.py")), *sorted(BUILD.glob("*.json"))]
    for file in [*files, BUILD / ".npmrc", BUILD_LOCK, UV_LOCK]:
        made_from.update(file.read_bytes())
    return made_from.hexdigest()


def have_uv() -> bool:
    """True when the quick installer is there or could be fetched."""
    if not UV.is_file():
        run(sys.executable, "-m", "venv", ".uv")
        pip = [str(UV.with_name("pip")), "install", "-q", "--disable-pip-version-check"]
        subprocess.run([*pip, "--require-hashes", "-r", str(UV_LOCK)], check=False)
    return UV.is_file()


def by_uv(lock: Path) -> None:
    """Fill `.venv` with exactly what the lock names, and this checkout."""
    python: list[str | Path] = ["--python", BIN / "python"]
    if not fits_this_python():
        run(UV, "venv", "-q", "--clear", "--python", sys.executable, VENV)
    run(UV, "pip", "sync", "-q", *python, "--require-hashes", lock)
    program = ("--no-deps", "--build-constraints", BUILD_LOCK, "--editable", ROOT)
    run(UV, "pip", "install", "-q", *python, *program)


def by_pip(lock: Path) -> None:
    """The same with pip, slower, where uv cannot be had; the build's own needs then come as their newest."""
    say("uv cannot be had here; pip does the same, more slowly.")
    if not (fits_this_python() and (BIN / "pip").is_file()):
        run(sys.executable, "-m", "venv", "--clear", VENV)
    pip = (BIN / "pip", "install", "-q", "--disable-pip-version-check")
    run(*pip, "--require-hashes", "-r", lock)
    run(*pip, "--no-deps", "--editable", ROOT)


def fits_this_python() -> bool:
    """True when `.venv` was made by a Python of this version that is still there."""
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    return (BIN / "python").exists() and (VENV / "lib" / version / "site-packages").is_dir()


def run(*command: str | Path) -> None:
    """Run a step that must succeed; stop with its exit code in the message when it does not."""
    words = [str(word) for word in command]
    code = subprocess.run(words, check=False).returncode
    if code:
        stop(f"Exit code {code} from: {' '.join(words)}")


# ------------------------------------------------------------------------------------ demo


def demo() -> int:
    """Serve the invented laboratory on SQLite until somebody stops it."""
    set_up("demo").wait()
    home = Path(os.environ.get("COLDSTEAD_HOME") or Path.home() / "coldstead-demo").expanduser().absolute()
    os.environ["COLDSTEAD_HOME"] = str(home)
    os.environ.pop("COLDSTEAD_DATABASE_URL", None)
    run(BIN / "coldstead", "migrate")
    run(BIN / "coldstead", "demo")
    port = free_port()
    say(f"The books are in {home}. Ctrl-C stops the program.")
    server = subprocess.Popen([BIN / "coldstead", "serve", "--host", "127.0.0.1", "--port", str(port)])
    try:
        if not answers(server, port):
            stop("The program could not be started.")
        say(f"Open http://127.0.0.1:{port}/")
        return server.wait()
    except KeyboardInterrupt:
        return 0
    finally:
        server.terminate()
        server.wait()


def free_port() -> int:
    """The first port from 8000 on that nobody listens at; any free one when a hundred are taken."""
    for port in [*range(FIRST_PORT, FIRST_PORT + 100), 0]:
        with socket.socket() as trial:
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                trial.bind(("127.0.0.1", port))
            except OSError:
                continue
            return int(trial.getsockname()[1])
    stop("No port is free.")


def answers(server: subprocess.Popen[bytes], port: int) -> bool:
    """Wait until the server takes connections; False when it ended instead."""
    while server.poll() is None:
        with socket.socket() as trial:
            if trial.connect_ex(("127.0.0.1", port)) == 0:
                return True
        time.sleep(0.1)
    return False


# ------------------------------------------------------------------------------------ tests

CHECKS = (
    ("ruff", "check", "--quiet", "."),
    ("ruff", "format", "--check", "--quiet", "."),
    ("lint-imports", "--no-logo"),
    ("mypy",),
)
SERIAL_TESTS = (
    ("pytest", "-q", "-m", "benchmark", "--benchmark-columns=min,median,max,rounds"),
    ("pytest", "-q", "-m", "browser", "--benchmark-disable"),
)
OTHER_TESTS = ("pytest", "-n2", "-m", "not browser and not benchmark", "--benchmark-disable")


def tests() -> int:
    """Run every check and every test, whatever fails before; the closing line of the last one comes last."""
    apt = set_up("tests")
    failed = [" ".join(step) for step in CHECKS if not passes(step)]
    apt.wait()
    failed += [" ".join(step) for step in SERIAL_TESTS if not passes(step)]
    code, closing_line = run_holding_last_line(OTHER_TESTS)
    for step in failed:
        say(f"FAILED before this: {step}")
    print(closing_line, end="", flush=True)
    return 1 if failed or code else 0


def passes(step: tuple[str, ...]) -> bool:
    """Run one step in sight. No test found is a failure too: pytest's exit code is 5 then."""
    say(f"\n$ {' '.join(step)}")
    return subprocess.run([BIN / step[0], *step[1:]], check=False).returncode == 0


def run_holding_last_line(step: tuple[str, ...]) -> tuple[int, str]:
    """Run one step in sight but keep its last line back, so that something can be said before it."""
    say(f"\n$ {' '.join(step)}")
    colour = ["--color=yes"] if sys.stdout.isatty() else []
    held = ""
    with subprocess.Popen([BIN / step[0], *step[1:], *colour], stdout=subprocess.PIPE, text=True) as process:
        for line in process.stdout or ():
            if line.strip():
                print(held, end="", flush=True)
                held = line
    return process.returncode, held


if __name__ == "__main__":
    sys.exit(main())
