"""The house: locks, run.py, and what goes into the wheel."""

import ast
import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
import sysconfig
import time
import tomllib
import zipfile
from pathlib import Path

import pytest

import run

ROOT = Path(__file__).parent.parent
LOCKS = [ROOT / "requirements.lock", ROOT / "tests" / "requirements.lock"]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def locked(lock: Path) -> dict[str, set[str]]:
    """Each package of a lock with its versions; a package may have one for each of several Pythons."""
    versions: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([a-z0-9-]+)==(\S+)", lock.read_text("utf-8"), re.MULTILINE):
        versions.setdefault(name, set()).add(version)
    return versions


def wanted(requirements: list[str]) -> set[str]:
    return {re.split(r"[<>=~! ]", name)[0].lower() for name in requirements}


def kept(*folders: str) -> list[str]:
    """Files of the project, without what tools leave behind; not by git, which a copy may lack."""
    left = {".git", ".hypothesis", ".schemathesis", ".venv", "__pycache__", "dist"}
    found = []
    for folder in folders:
        for place, inner, names in os.walk(ROOT / folder):
            inner[:] = [name for name in inner if name not in left and not name.endswith("_cache")]
            found += [(Path(place) / name).relative_to(ROOT).as_posix() for name in names]
    return found


# ---- locks


@pytest.mark.parametrize("lock", LOCKS, ids=["app", "tests"])
def test_lock_names_no_place_and_hashes_everything(lock: Path) -> None:
    text = lock.read_text("utf-8")
    assert not re.search(r"https?:|file:|--index|--extra|--find|--trusted|@|/", text)
    entries = re.split(r"\n(?=\S)", text.strip())
    assert len(entries) > 20
    for entry in entries:
        assert re.match(r"[a-z0-9-]+==\S+.*( \\\n    --hash=sha256:[0-9a-f]{64})+$", entry, re.DOTALL), entry


def test_locks_hold_all_that_the_project_asks_for() -> None:
    groups = PROJECT["dependency-groups"]
    app, tests = map(locked, LOCKS)
    assert wanted([*PROJECT["project"]["dependencies"], *groups["build"]]) <= set(app)
    assert wanted([*groups["build"], *groups["test"]]) <= set(tests)


def test_tests_run_on_the_very_versions_that_the_app_runs_on() -> None:
    app, tests = map(locked, LOCKS)
    assert {name: tests.get(name) for name in app} == app


def test_figures_come_from_one_numpy_and_scipy_on_every_python() -> None:
    app = locked(LOCKS[0])
    assert len(app["numpy"]) == len(app["scipy"]) == 1


# ---- the tree


def test_no_path_of_a_machine_and_no_registry_in_what_is_kept() -> None:
    places = re.compile(rb"(?<![\w.])/(work|root|tmp|home)/\w|[A-Z]:\\{1,2}Users\\")
    hosts = re.compile(rb"py" rb"pi\.org|python" rb"hosted|registry\.npm" rb"js|deb\.debian" rb"\.org")
    texts = {name: (ROOT / name).read_bytes() for name in kept(".") if "/vendor/" not in name}
    assert len(texts) > 10
    assert [name for name, text in texts.items() if places.search(text) or hosts.search(text)] == []


def test_valuation_cannot_import_the_web_or_the_store(tmp_path: Path) -> None:
    folder = tmp_path / "valuation"
    folder.mkdir()
    banned = ["flask", "sqlalchemy", "requests", "webapp", "time", "urllib.request"]
    (folder / "leak.py").write_text("".join(f"import {name}\n" for name in banned))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    ruff = [sys.executable, "-m", "ruff", "check", "--select", "TID251", "--output-format", "concise"]
    out = subprocess.run([*ruff, "."], cwd=tmp_path, capture_output=True, text=True, check=False).stdout
    assert len(re.findall(r"^valuation.leak\.py:\d+:\d+: TID251", out, re.MULTILINE)) == len(banned), out


def test_wheel_holds_every_file_of_the_three_packages(tmp_path: Path) -> None:
    folders = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]
    files = kept(*folders)
    for name in [*files, "pyproject.toml", "LICENSE", "README.md"]:
        if (ROOT / name).exists():
            (tmp_path / "source" / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, tmp_path / "source" / name)
    build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(tmp_path)]
    subprocess.run(build, cwd=tmp_path / "source", check=True, capture_output=True)
    with zipfile.ZipFile(next(tmp_path.glob("*.whl"))) as wheel:
        held = set(wheel.namelist())
        (entry_points,) = (name for name in held if name.endswith("entry_points.txt"))
        assert "lodeworth = webapp.cli:main" in wheel.read(entry_points).decode()
    assert {name for name in held if ".dist-info/" not in name} == set(files)
    assert any(name.endswith("licenses/LICENSE") for name in held)
    assert any(name.endswith(".toml") for name in files)


# ---- run.py


def test_an_older_python_is_told_what_is_needed_in_a_sentence() -> None:
    source = (ROOT / "run.py").read_text("utf-8")
    tree = ast.parse(source, feature_version=(3, 6))  # what such a Python must be able to read
    statements = [node for node in tree.body if not isinstance(node, ast.Expr)]
    assert ast.unparse(statements[0]) == "import sys"
    assert ast.unparse(statements[1]).startswith("if sys.version_info < (3, 11):\n    sys.exit(")


def test_run_needs_nothing_but_python() -> None:
    tree = ast.parse((ROOT / "run.py").read_text("utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= set(sys.stdlib_module_names)


def test_browser_is_the_one_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("BROWSER_PATH", str(tmp_path / "none"))
    assert run.browser() == str(tmp_path / "none")
    assert "BROWSER_PATH names no file" in (run.ensure_browser() or "")
    (tmp_path / "none").touch()
    assert run.ensure_browser() is None


def test_browser_is_looked_for_on_the_search_path(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("BROWSER_PATH", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    found = tmp_path / ("google-chrome.exe" if os.name == "nt" else "google-chrome")
    found.touch(mode=0o755)
    assert run.browser() == str(found)


class Checkout:
    """A small project that run.py sets up: its only package, `ore`, lies in a folder beside it."""

    def __init__(self, place: Path):
        # A space, and a letter that not every encoding has.
        self.root = place / "fool's gold ő"
        self.ores = place / "ores"
        self.place = place
        self.ores.mkdir()
        (self.root / "webapp").mkdir(parents=True)
        (self.root / "tests").mkdir()
        for name in ["run.py", "pyproject.toml", "LICENSE"]:
            shutil.copy(ROOT / name, self.root)
        for package in ["scenarios", "valuation", "webapp"]:
            (self.root / package).mkdir(exist_ok=True)
            (self.root / package / "__init__.py").touch()
        (self.root / "README.md").write_text("A small project.")
        (self.root / "webapp" / "cli.py").write_text(
            "import ore, os, sys\ndef main():\n    print(ore.VERSION, os.getcwd(), *sys.argv[1:], sep='|')\n"
        )
        (self.root / "webapp" / "__main__.py").write_text("from webapp.cli import main\n\nmain()\n")
        self.lock("1.0")

    def lock(self, version: str) -> None:
        line = self.locked_wheel("ore", version, {"ore.py": f"VERSION = {version!r}\n"})
        (self.root / "requirements.lock").write_text(line)

    def lock_tests(self) -> None:
        """Stand-ins for the tools: each says that it ran, and fails where FAILING names it."""
        source = (
            "import os, sys\nname = os.path.basename(__file__)[:-3]\nprint(name, *sys.argv[1:])\n"
            "sys.exit(name in os.environ.get('FAILING', ''))\n"
        )
        files = {f"{name}.py": source for name in ["ruff", "mypy", "playwright", "pytest"]}
        (self.root / "tests" / "requirements.lock").write_text(self.locked_wheel("tools", "1.0", files))

    def locked_wheel(self, name: str, version: str, files: dict[str, str]) -> str:
        about = f"{name}-{version}.dist-info"
        kind = "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        metadata = f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n"
        files = {**files, f"{about}/METADATA": metadata, f"{about}/WHEEL": kind, f"{about}/RECORD": ""}
        wheel = self.ores / f"{name}-{version}-py3-none-any.whl"
        with zipfile.ZipFile(wheel, "w") as archive:
            for path, text in files.items():
                archive.writestr(path, text)
        return f"{name}=={version} --hash=sha256:{hashlib.sha256(wheel.read_bytes()).hexdigest()}\n"

    def start(self, *args: str, **env: str) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, str(self.root / "run.py"), *args],
            cwd=self.place,
            env={**os.environ, **self.env(), **env},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            start_new_session=True,
        )

    def env(self) -> dict[str, str]:
        # The build backend comes from the tests' environment, packages from the folder, nothing from afar.
        return {
            "PYTHONPATH": sysconfig.get_path("purelib"),
            "PYTHONUTF8": "1",
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": str(self.ores),
            "PIP_CONFIG_FILE": os.devnull,
        }

    def run(self, *args: str, **env: str) -> tuple[int, str, str]:
        process = self.start(*args, **env)
        out, err = process.communicate(timeout=120)
        return process.returncode, out.strip(), err


@pytest.fixture(scope="module")
def checkout(tmp_path_factory: pytest.TempPathFactory) -> Checkout:
    return Checkout(tmp_path_factory.mktemp("place"))


def test_first_start_sets_up_and_the_second_only_starts(checkout: Checkout) -> None:
    code, out, err = checkout.run("quote", "a piece.toml", "--json")
    assert (code, out) == (0, f"1.0|{checkout.place}|quote|a piece.toml|--json"), err
    assert "Setting up" in err
    # Now with what a shell may hold: another project's packages, no home, a pip that asks for --user.
    other = checkout.place / "webapp"
    other.mkdir()
    (other / "__init__.py").write_text("raise SystemExit('the wrong webapp')")
    assert checkout.run(PYTHONPATH=str(checkout.place), PIP_USER="1", HOME="/nonexistent") == (
        0,
        f"1.0|{checkout.place}|serve",
        "",
    )


def test_installed_command_works_and_no_letter_of_the_path_is_written_down(checkout: Checkout) -> None:
    checkout.run()
    command = checkout.root / run.PYTHON.relative_to(run.ROOT).with_name("lodeworth")
    answer = subprocess.run([command, "scenarios"], cwd=checkout.place, capture_output=True, check=True)
    assert answer.stdout.decode().strip() == f"1.0|{checkout.place}|scenarios"
    (pth,) = (checkout.root / ".venv").glob("**/*lodeworth.pth")
    assert set(pth.read_text("ascii").strip()) == set("./")


def test_a_wrong_hash_stops_the_set_up_and_a_right_one_is_then_installed(checkout: Checkout) -> None:
    checkout.lock("2.0")
    lock = checkout.root / "requirements.lock"
    right = lock.read_text()
    lock.write_text(re.sub(r"sha256:\w{8}", "sha256:01234567", right))
    code, out, err = checkout.run("scenarios")
    assert (code, out) == (1, "")
    assert err.rstrip().endswith("check the network and start again.")
    assert "Traceback" not in err
    lock.write_text(right)
    code, out, err = checkout.run("scenarios")
    assert (code, out.split("|")[0]) == (0, "2.0"), err


@pytest.mark.skipif(os.name == "nt", reason="a process group is killed")
@pytest.mark.parametrize("sign", ["pyvenv.cfg", "**/ore.py"])
def test_a_set_up_killed_half_way_is_done_again(checkout: Checkout, sign: str) -> None:
    shutil.rmtree(checkout.root / ".venv")
    process = checkout.start("scenarios")
    deadline = time.monotonic() + 60
    while not list((checkout.root / ".venv").glob(sign)):
        assert time.monotonic() < deadline
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
    assert not (checkout.root / ".venv" / "checkout.stamp").exists()
    code, out, err = checkout.run("scenarios")
    assert (code, out) == (0, f"2.0|{checkout.place}|scenarios"), err


def test_an_environment_whose_python_has_gone_is_made_anew(checkout: Checkout) -> None:
    checkout.run()
    python = checkout.root / run.PYTHON.relative_to(run.ROOT)
    python.unlink()
    code, _, err = checkout.run("scenarios")
    assert code == 0, err
    assert "Setting up" in err


def test_every_check_runs_also_after_one_has_failed(checkout: Checkout) -> None:
    checkout.lock_tests()
    all_run = ["ruff check", "ruff format --check", "mypy", " ".join(["pytest", *run.WORKERS, "-k gold"])]
    code, out, err = checkout.run("test", "-k", "gold", BROWSER_PATH=sys.executable)
    assert [line for line in out.splitlines() if not line.startswith("==")] == all_run
    assert (code, "Failed" in err) == (0, False), err
    code, out, err = checkout.run("test", "-k", "gold", BROWSER_PATH=sys.executable, FAILING="ruff mypy")
    assert [line for line in out.splitlines() if not line.startswith("==")] == all_run
    assert (code, err) == (1, "Failed before pytest, see above: ruff check, ruff format, mypy.\n")
    assert checkout.run("test", BROWSER_PATH=sys.executable, FAILING="pytest")[::2] == (1, "")


def test_a_missing_browser_is_a_failure_that_says_what_to_do(checkout: Checkout) -> None:
    checkout.lock_tests()
    code, out, err = checkout.run("test", BROWSER_PATH=str(checkout.place / "gone"))
    assert (code, out.splitlines()[-1]) == (1, " ".join(["pytest", *run.WORKERS]))
    assert "BROWSER_PATH names no file" in err
    assert err.endswith("Failed before pytest, see above: browser.\n")
