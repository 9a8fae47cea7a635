"""Set up, start and test Lodeworth. Needs nothing but Python.

python3 run.py               set up at the first start, serve on this machine, open the browser
python3 run.py test [ARGS]   lint, types and every test, the browser's included; ARGS go to pytest
python3 run.py WORD [ARGS]   any other word goes to the command line: quote FILE, scenarios, ...
"""

import sys

if sys.version_info < (3, 11):
    sys.exit(
        f"Lodeworth needs Python 3.11 or newer; this is Python {sys.version_info[0]}.{sys.version_info[1]}.\n"
        "Start it with a newer one, such as python3.11 run.py, or get one from python.org or your system."
    )

import hashlib
import importlib.util
import os
import platform
import shutil
import subprocess
import sysconfig
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

# Each part of the environment and the file that says what is in it.
PARTS = {"app": "requirements.lock", "tests": "tests/requirements.lock", "checkout": "pyproject.toml"}

CHECKS = {
    "ruff check": ["ruff", "check"],
    "ruff format": ["ruff", "format", "--check"],
    "mypy": ["mypy"],
}

# One pytest for each processor; a file stays whole, so that what it prepares once is prepared once.
WORKERS = ["--numprocesses=auto", "--dist=loadfile"]


class SetUpError(Exception):
    """Set-up cannot go on; the message says what to type."""


def main(args: Sequence[str]) -> int:
    try:
        if args[:1] == ["test"]:
            set_up(["app", "tests", "checkout"])
            return test(args[1:])
        set_up(["app", "checkout"])
    except SetUpError as error:
        say(str(error))
        return 1
    except KeyboardInterrupt:
        say("Stopped.")
        return 130
    return hand_over(in_venv("webapp", *(args or ["serve"])))


def say(text: str) -> None:
    """Print to stderr: what the program itself prints may be piped on."""
    print(text, file=sys.stderr, flush=True)


def in_venv(module: str, *args: str) -> list[str]:
    """Command that runs a module of .venv, whatever PYTHONPATH or the current folder hold."""
    return [str(PYTHON), "-I", "-m", module, *args]


def call(command: Sequence[str]) -> bool:
    """Whether a command of the set-up succeeds; what it prints goes to stderr."""
    return subprocess.call(command, cwd=ROOT, stdout=sys.stderr) == 0


# ---- the environment


def set_up(parts: Sequence[str]) -> None:
    """Bring .venv to what the locks say. A stamp is written last, so an interrupted set-up is done again."""
    for part in parts:
        stamp = VENV / f"{part}.stamp"
        if PYTHON.exists() and stamp.is_file() and stamp.read_text("utf-8") == state(part):
            continue
        stamp.unlink(missing_ok=True)
        {"app": install_app, "tests": install_tests, "checkout": install_checkout}[part]()
        stamp.write_text(state(part), "utf-8")


def state(part: str) -> str:
    """What a finished part depends on: the Python, the place (scripts hold it) and the file."""
    digest = hashlib.sha256((ROOT / PARTS[part]).read_bytes()).hexdigest()
    return f"Python {sys.version_info[0]}.{sys.version_info[1]}\n{ROOT}\n{digest}\n"


def install_app() -> None:
    if importlib.util.find_spec("ensurepip") is None:
        install_ensurepip()
    say("Setting up in .venv: less than a minute, this once.")
    if not call([sys.executable, "-I", "-m", "venv", "--clear", str(VENV)]):
        raise SetUpError(f"Could not make {VENV}: see the lines above.")
    pip_install("--require-hashes", "--requirement", PARTS["app"])


def install_tests() -> None:
    say("Installing what the tests need: about a minute, this once.")
    pip_install("--require-hashes", "--requirement", PARTS["tests"])


def install_checkout() -> None:
    """Put the command `lodeworth` and the packages, as they lie here, into .venv."""
    pip_install("--no-deps", "--no-index", "--no-build-isolation", "--editable", str(ROOT))
    # Python reads a .pth file in the system's encoding: a relative path is right in all of them.
    packages = Path(sysconfig.get_path("purelib", "venv", {"base": str(VENV)}))
    (pth,) = packages.glob("*lodeworth.pth")
    pth.write_text(Path(os.path.relpath(ROOT, packages)).as_posix() + "\n", "ascii")


def pip_install(*what: str) -> None:
    options = ["--quiet", "--disable-pip-version-check", "--no-user", "--no-input"]
    if not call(in_venv("pip", "install", *options, *what)):
        raise SetUpError(
            "Could not install the packages: see the lines above.\n"
            "They come from the Python package index, so check the network and start again."
        )


def install_ensurepip() -> None:
    """Debian keeps what `python3 -m venv` needs in a package of its own."""
    package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
    if not shutil.which("apt-get") or sys.base_prefix != "/usr":
        raise SetUpError(
            f"This Python ({sys.executable}) has no ensurepip module, which the set-up needs.\n"
            "Install your system's package for Python's venv, or Python from python.org, and start again."
        )
    if not apt_install(package):
        raise SetUpError(f"Python's venv module is missing. {to_type(apt_line(package))}")


def to_type(line: str) -> str:
    return f"Type this, then start again:\n\n    {line}\n"


def apt_line(*packages: str) -> str:
    install = f"apt-get install --yes --no-install-recommends {' '.join(packages)}"
    return f"sudo apt-get update && sudo {install}"


def apt_install(*packages: str) -> bool:
    """Whether Debian packages could be installed: only root may."""
    if not is_root():
        return False
    say(f"Installing Debian's {' and '.join(packages)}.")
    env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for step in (["update"], ["install", "--yes", "--no-install-recommends", *packages]):
        # What goes wrong is said on stderr, which stays open.
        if subprocess.call(["apt-get", "-qq", *step], env=env, stdout=subprocess.DEVNULL) != 0:
            return False
    return True


def is_root() -> bool:
    return os.name == "posix" and os.geteuid() == 0


# ---- the browser that the tests drive


def browser() -> str | None:
    """Path of a Chromium, Chrome or Edge on this machine: BROWSER_PATH, the search path, the usual places."""
    if os.environ.get("BROWSER_PATH"):
        return os.environ["BROWSER_PATH"]
    names = ["chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "microsoft-edge"]
    usual = [Path(found) for found in map(shutil.which, names) if found]
    if sys.platform == "darwin":
        apps = ["Google Chrome", "Chromium", "Microsoft Edge"]
        usual += [Path("/Applications", f"{app}.app", "Contents", "MacOS", app) for app in apps]
    if sys.platform == "win32":
        homes = [os.environ.get(name) for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")]
        programs = ["Google/Chrome/Application/chrome.exe", "Microsoft/Edge/Application/msedge.exe"]
        usual += [Path(home, program) for home in homes if home for program in programs]
    return next((str(path) for path in usual if path.is_file()), None)


def ensure_browser() -> str | None:
    """Install what driving a browser takes, where it is not there; what to type, if that fails."""
    path = browser()
    if path and not Path(path).is_file():
        return f"BROWSER_PATH names no file: {path}. Correct or unset it."
    starts = driver_starts()
    if path and starts:
        return None
    packages = ([] if path else ["chromium"]) + ([] if starts else ["libatomic1"])
    if debian() and is_root():
        if apt_install(*packages):
            return None
    elif starts and call(in_venv("playwright", "install", "chromium")):
        return None
    lack = "what drives a browser lacks a library" if path else "there is no Chromium, Chrome or Edge"
    own = f'"{PYTHON}" -m playwright install --with-deps chromium'
    line = apt_line(*packages) if debian() else own
    return f"The browser tests cannot run: {lack}. {to_type(line)}"


def driver_starts() -> bool:
    """Whether the program that drives the browser starts: a bare Debian lacks one of its libraries."""
    quiet = subprocess.DEVNULL
    return subprocess.call(in_venv("playwright", "--version"), stdout=quiet, stderr=quiet) == 0


def debian() -> bool:
    """Whether this is Debian or near it. Ubuntu's chromium package is an empty one."""
    try:
        release = platform.freedesktop_os_release()
    except OSError:
        return False
    kinds = {release["ID"], *release.get("ID_LIKE", "").split()}
    return "debian" in kinds and "ubuntu" not in kinds


# ---- the tests


def test(args: Sequence[str]) -> int:
    """Run every check, also after one has failed; pytest is last, so its summary ends the page."""
    failed = []
    missing = ensure_browser()
    if missing:
        say(missing)
        failed.append("browser")
    for name, command in CHECKS.items():
        print(f"== {name}", flush=True)
        if code_of(in_venv(*command), ROOT) != 0:
            failed.append(name)
    print("== pytest", flush=True)
    code = code_of(in_venv("pytest", *WORKERS, *args), ROOT)
    if failed:
        say(f"Failed before pytest, see above: {', '.join(failed)}.")
    return code or bool(failed)


def hand_over(command: list[str]) -> int:
    """Become the program where the system can; elsewhere wait for it."""
    sys.stdout.flush()
    if os.name == "posix":
        os.execv(command[0], command)
    return code_of(command)


def code_of(command: Sequence[str], folder: Path | None = None) -> int:
    """Exit code of a program that ends by itself on Ctrl-C, which reaches it too."""
    with subprocess.Popen(command, cwd=folder) as program:
        while True:
            try:
                return program.wait()
            except KeyboardInterrupt:
                continue


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
