"""The house itself: layering, headers, what lies where, and words and paths that do not belong in a source tree.

The build keeps the two libraries apart by what each can see; this tells what the build cannot: the layers inside the
program, libraries that analysis must not use, ways around the include roots.
"""

import fnmatch
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside.report import Report  # noqa: E402

SOURCE = Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2]))
TOP = {"CMakeLists.txt", "CMakePresets.json", "README.md", "DEVELOPERS.md", "LICENSE", "analysis", "capture", "cli",
       "tests", "fixtures"}
TEXTS = {".cpp", ".h", ".py", ".md", ".txt", ".json", ".toml", ".mustache", ".cir", ".cmake", ".csv", ""}
LONGEST_CPP = 400  # lines; a file has one subject
report = Report("The house")


def clone_files():
    """What a clone holds: git's own list where there is one, else everything that .gitignore does not name."""
    if (SOURCE / ".git").exists() and shutil.which("git"):
        done = subprocess.run(["git", "-c", "safe.directory=*", "-C", str(SOURCE), "ls-files", "-z"],
                              capture_output=True, text=True, check=True)
        return [Path(name) for name in done.stdout.split("\0") if name and (SOURCE / name).is_file()]
    ignored = [line.strip().strip("/") for line in (SOURCE / ".gitignore").read_text().splitlines() if line.strip()]
    found = []
    for folder, folders, names in os.walk(SOURCE):
        folders[:] = [f for f in folders if f != ".git" and not any(fnmatch.fnmatch(f, i) for i in ignored)]
        found += [(Path(folder) / name).relative_to(SOURCE) for name in names]
    return found


FILES = clone_files()
CPP = [path for path in FILES if path.suffix in {".cpp", ".h"}]


def text(path):
    return (SOURCE / path).read_text(encoding="utf-8")


def none(what, found):
    report.check(not found, what, "; ".join(sorted(map(str, found))[:12]))


def lines_with(pattern, paths):
    return [f"{path}:{number}: {line.strip()[:90]}" for path in paths
            for number, line in enumerate(text(path).splitlines(), 1) if re.search(pattern, line)]


def includes(path):
    return re.findall(r'^\s*#\s*include\s*(["<])([^">]+)[">]', text(path), re.MULTILINE)


def layering():
    """Who may include whom."""
    wrong = []
    for path in CPP:
        part = path.parts[0]
        for mark, name in includes(path):
            where = f"{path} includes {name}"
            if ".." in Path(name).parts:
                wrong.append(where)
            if part in {"tests", "fixtures"}:
                continue
            below = name.split("/")[0]
            if mark == '"' and below in {"analysis", "capture", "cli"}:
                allowed = {"analysis": {"analysis"}, "capture": {"capture"},
                           "cli": {"analysis", "capture", "cli"}}[part]
                if below not in allowed:
                    wrong.append(where)
                # Only measures and commands join sound with numbers; files and page know results alone.
                joins = path.parts[:2] in {("cli", "measures"), ("cli", "commands")}
                algorithms = ("analysis/signal/", "analysis/amplifier/", "analysis/driver/", "capture/device/",
                              "capture/raw_checks")
                plain_data = name == "analysis/driver/impedance_curve.h"  # what a curve file is read into
                if part == "cli" and not joins and name.startswith(algorithms) and not plain_data:
                    wrong.append(where)
            elif re.match(FORBIDDEN_LIBRARIES.get(part, r"$^"), name):
                wrong.append(where)
    none("nobody includes what it must not know", wrong)


# analysis/ is pure: no files, no clock, no devices, no text formats. capture/ does no analysis and reads no job.
FORBIDDEN_LIBRARIES = {
    "analysis": r"(nlohmann|CLI|toml\+\+|sndfile|portaudio|kainjow|fstream|filesystem|chrono|ctime|time\.h|"
                r"iostream|thread|random$|unistd|sys/)",
    "capture": r"(nlohmann|CLI|toml\+\+|kainjow|Eigen|kissfft)",
}


def headers():
    none("every header begins with what it is for, then #pragma once",
         [path for path in CPP if path.suffix == ".h"
          and not re.match(r"(//[^\n]*\n)+#pragma once\n", text(path))])
    none(f"no C++ file outside tests/ is longer than {LONGEST_CPP} lines",
         [f"{path} ({len(text(path).splitlines())})" for path in CPP
          if path.parts[0] != "tests" and len(text(path).splitlines()) > LONGEST_CPP])
    none("analysis prints nothing and opens nothing",
         lines_with(r"\b(f?printf|puts|fopen|std::cout|std::cerr|getenv)\b",
                    [path for path in CPP if path.parts[0] == "analysis"]))
    none("nothing turns a warning off, nothing turns exact arithmetic off",
         lines_with(r"#\s*pragma\s+GCC\s+(diagnostic|optimize)|-ffast-math|-Ofast|\s-w(\s|\"|$)", CPP + [Path("CMakeLists.txt")]))


def names():
    """Two types of one name in one namespace break the language's one-definition rule, of which no linker says a word:
    it takes the one's destructor for the other's. A namespace is a top folder here."""
    declared = {}
    for path in CPP:
        if path.suffix == ".h" and path.parts[0] in {"analysis", "capture", "cli"}:
            for name in re.findall(r"^(?:struct|class|enum class) (\w+)(?: final)?(?: :[^;\n]*)? \{", text(path), re.MULTILINE):
                declared.setdefault((path.parts[0], name), []).append(str(path))
    none("no two headers of one namespace declare the same name",
         [f"{name} in {' and '.join(paths)}" for (_, name), paths in declared.items() if len(paths) > 1])
    report.check(len(declared) > 100, "they were read", f"{len(declared)} types")


def words():
    own = Path("tests/end_to_end/house_test.py")
    paths = [path for path in FILES if path.suffix in TEXTS and path != own and path.name != "LICENSE"]
    none("no unfinished business",
         lines_with(r"\b(TODO|FIXME|XXX|HACK|WIP)\b|(?i:\b(placeholder|stubs?|stubbed|not implemented|lorem ipsum)\b)",
                    paths))
    none("no path of somebody's machine",
         lines_with(r"(?<![\w.}/)*-])/(home|root|work|Users|mnt|media|srv)/|\b[A-Z]:\\\\?(Users|Windows)", paths))
    none("nothing under tests/ is switched off",
         lines_with(r"\b(DISABLED_|GTEST_SKIP|unittest\.skip|pytest\.mark\.(skip|xfail))", [p for p in paths if p.parts[0] == "tests"]))


def places():
    top = {path.parts[0] for path in FILES}
    none("the top folder holds what it should and nothing else", {name for name in top if name not in TOP and name[0] != "."})
    none("nothing of the top folder is missing", {name for name in TOP - top})
    listed = []
    for name in ("packages.txt", "packages-test.txt"):
        listed += text(Path(".ci") / name).split()
    none("each package is listed once", {name for name in listed if listed.count(name) > 1})
    none("packages are installed from the lists alone",
         lines_with(r"apt(-get)?\s+install", [p for p in FILES if p.suffix in TEXTS and p.name not in {"set-up", "house_test.py"}]))
    if any(path.parts[0] == "fixtures" for path in FILES):
        passports = (SOURCE / "fixtures/README.md").read_text() if (SOURCE / "fixtures/README.md").exists() else ""
        none("every fixture's origin stands in fixtures/README.md",
             [path for path in FILES if path.parts[0] == "fixtures" and path.name != "README.md"
              and path.name not in passports and str(path.parent.relative_to("fixtures")) + "/" not in passports])


for part in (layering, headers, names, words, places):
    report.guarded(part.__name__, part)
report.finish()
