"""What `cmake --install` and the Debian package bring: the program runs from its new place, its manual page and completion
hold every command, and another program finds the analysis library. The program is built already; nothing is built again
but the example of fixtures/library-example, whose distortion has a closed form: sqrt(0.1^2 + 0.02^2)."""

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from outside.report import Report  # noqa: E402

BUILD, SOURCE = Path(os.environ["ASSAY_BUILD"]), Path(os.environ["ASSAY_SOURCE"])
report = Report("installing")


def run(*command, **more):
    return subprocess.run([str(part) for part in command], capture_output=True, text=True, **more)


def commands_of(assay, *path):
    """Every command with its options, read from --help."""
    told = run(assay, *path, "--help").stdout
    found = {path: set(re.findall(r"(--[a-z][a-z-]*)", told.split("CAUTIONS")[0].split("Options:")[1].split("Subcommands:")[0]))}
    if "Subcommands:" in told:
        for name in re.findall(r"^  ([a-z]+) ", told.split("Subcommands:")[1], re.M):
            if name not in {"exit"}:
                found.update(commands_of(assay, *path, name))
    return found


def installed(prefix):
    done = run("cmake", "--install", BUILD, "--prefix", prefix)
    report.check(done.returncode == 0, "cmake --install", done.stderr.strip()[-300:])
    assay = prefix / "bin" / "assay"
    told = run(assay, "--version", cwd="/", env={"PATH": "/nowhere"})
    report.check(told.returncode == 0 and told.stdout.startswith("assay "), "the installed program runs", told.stdout + told.stderr)
    commands = commands_of(assay)
    report.check(len(commands) > 15, "commands are found in --help", f"{len(commands)} of them")
    return assay, commands


def manual(prefix, commands):
    page = prefix / "share" / "man" / "man1" / "assay.1"
    shown = run("groff", "-man", "-Tutf8", "-ww", "-P-cbou", page)
    report.check(shown.returncode == 0 and not shown.stderr, "groff takes the manual page without a warning", shown.stderr.strip()[:300])
    parts = re.split(r"^   (assay(?: [a-z]+)+)$", shown.stdout, flags=re.M)
    pages = {tuple(head.split()[1:]): text for head, text in zip(parts[1::2], parts[2::2])}
    for path, options in commands.items():
        if not path:
            continue
        missing = [option for option in options - {"--help"} if option not in pages.get(path, "")]
        report.check(path in pages and not missing, f"manual page of {' '.join(path)}", f"missing {missing}")
    report.check("live" in shown.stdout and "CAUTIONS" in shown.stdout, "the cautions stand in it")


def complete(script, *words):
    line = " ".join(f"'{word}'" for word in words)
    told = run("bash", "-c", f"source '{script}'; COMP_WORDS=({line}); COMP_CWORD={len(words) - 1}; _assay; printf '%s\\n' \"${{COMPREPLY[@]}}\"")
    report.check(not told.stderr, f"completion of {line}", told.stderr)
    return set(told.stdout.split())


def completion(prefix, commands):
    script = prefix / "share" / "bash-completion" / "completions" / "assay"
    for path, options in commands.items():
        names = {other[-1] for other in commands if len(other) == len(path) + 1 and other[:-1] == path}
        got = complete(script, "assay", *path, "")
        report.check(names | options <= got, f"completes after assay {' '.join(path)}", f"missing {(names | options) - got}")
    report.check(complete(script, "assay", "certify", "x", "--paper", "") == {"a4", "letter"}, "completes the words of an option")
    report.check(complete(script, "assay", "run", "--be") == {"--bench"}, "completes part of an option")
    report.check(complete(script, "assay", "run", "--bench", "") == set(), "leaves files to the shell")


def library(prefix, work):
    made = run("cmake", "-G", "Ninja", "-S", SOURCE / "fixtures" / "library-example", "-B", work, f"-DCMAKE_PREFIX_PATH={prefix}")
    report.check(made.returncode == 0, "find_package(assay)", (made.stdout + made.stderr).strip()[-400:])
    built = run("cmake", "--build", work)
    report.check(built.returncode == 0, "the example builds", (built.stdout + built.stderr).strip()[-600:])
    told = run(work / "thd_of_a_tone").stdout
    report.check(bool(re.match(r"[\d.]+ Hz, THD [\d.]+ %", told)), "the example runs", told)
    frequency, thd = map(float, re.findall(r"[\d.]+", told))
    report.absolute("frequency, Hz", frequency, 997.3, 1e-5)
    report.absolute("THD, %", thd, 100 * (0.1**2 + 0.02**2) ** 0.5, 1e-5)


def package(work):
    made = run("cpack", "-G", "DEB", "-B", work, "--config", BUILD / "CPackConfig.cmake")
    debs = list(Path(work).glob("*.deb"))
    if not report.check(made.returncode == 0 and len(debs) == 1, "cpack makes one package", (made.stdout + made.stderr).strip()[-400:]):
        return
    fields = run("dpkg-deb", "--field", debs[0]).stdout
    report.check("Package: assay\n" in fields and "libsndfile1" in fields and "libportaudio2" in fields and "-dev" not in fields,
                 "it asks for what it runs with, and no -dev package", fields)
    files = run("dpkg-deb", "--contents", debs[0]).stdout
    report.check(all(f"./usr/{path}\n" in files for path in ("bin/assay", "share/man/man1/assay.1", "share/doc/assay/README.md", "share/doc/assay/METHOD.md", "share/doc/assay/CAUTIONS.md",
                 "share/doc/assay/copyright")) and "include" not in files, "program, manual page and documents are in it", files)
    report.check(str(SOURCE) not in files, "no path of the builder is in its list")
    trial = run("apt-get", "install", "--simulate", "--no-install-recommends", debs[0])
    report.check(trial.returncode == 0 and "Inst assay" in trial.stdout, "apt would install it here", (trial.stdout + trial.stderr).strip()[-300:])


with tempfile.TemporaryDirectory(prefix="assay-install-") as folder:
    assay, commands = installed(Path(folder) / "usr")
    report.guarded("manual", lambda: manual(Path(folder) / "usr", commands))
    report.guarded("completion", lambda: completion(Path(folder) / "usr", commands))
    report.guarded("library", lambda: library(Path(folder) / "usr", Path(folder) / "example"))
    report.guarded("package", lambda: package(Path(folder) / "deb"))
report.finish()
