"""README.md against the program: its examples run, its commands and options exist, its tables name every key that the
readers know and no other. So the manual cannot say what the program does not do.
"""

import os
import re
import sys
import tempfile
import tomllib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from outside import program  # noqa: E402
from outside.report import Report  # noqa: E402

SOURCE = Path(os.environ.get("ASSAY_SOURCE", Path(__file__).resolve().parents[2]))
README = (SOURCE / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
report = Report("README.md against the program")


def source(*paths):
    return "\n".join((SOURCE / path).read_text(encoding="utf-8") for path in paths)


def same(what, documented, known):
    documented, known = set(documented), set(known)
    report.check(documented == known and known, what,
                 f"only in README: {sorted(documented - known)}; only in the program: {sorted(known - documented)}"
                 if documented != known else f"{len(known)} names")


def section(heading):
    """The text below a heading up to the next of the same or a higher rank."""
    found = re.search(rf"^(#+) {re.escape(heading)}.*?\n(.*?)(?=^#{{1,6}} |\Z)", README, re.MULTILINE | re.DOTALL)
    return found.group(2) if found else ""


def table_names(text):
    """Names in code letters in the first column of the tables."""
    names = []
    for line in text.splitlines():
        if line.startswith("| `"):
            names += re.findall(r"`([a-z0-9_]+)`", line.split("|")[1])
    return names


def named_files():
    """Files of the tree that the documents name are there; the method names one for each folder of the analysis."""
    for document in ("README.md", "DEVELOPERS.md", "analysis/METHOD.md", "capture/CAUTIONS.md"):
        text = source(document)
        named = set(re.findall(r"`((?:analysis|capture|cli|tests|fixtures)/[\w/.-]*[\w/])`", text))
        lost = [name for name in sorted(named) if not (SOURCE / name).exists() and not list(SOURCE.glob(name + "*"))]
        report.check(not lost, f"{document}: every file that it names is there", str(lost) if lost else f"{len(named)} files")
    said = source("capture/CAUTIONS.md").lower()
    help_text = " ".join(program.assay("--help").out.lower().split())
    for word in ("bridged", "200", "fuse", "mains", "ground first, signal last", "earth"):
        report.check(word in said and word in help_text, f"cautions and --help both speak of: {word}")


def examples():
    toml = [text for kind, text in BLOCKS if kind == "toml"]
    report.check(len(toml) >= 3, "there are examples in TOML", f"{len(toml)}")
    for text in toml:
        tomllib.loads(text)
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        for name in ("bench.toml", "job.toml"):
            text, = [text for text in toml if text.startswith(f"# {name}\n")]
            (folder / name).write_text(text)
        done = program.assay("tones", folder / "job.toml", "--bench", folder / "bench.toml", "--into", folder / "tones")
        report.check(done.status == 0, "the example bench and job make tones", f"exit {done.status} {done.err.strip()[:300]}")
        written = {path.name for path in (folder / "tones").glob("*")}
        same("the tones are the files that README names", {"power-4-ohm.wav", "level-set.wav", "PLAY.txt"}, written)


def commands():
    """Every `assay …` in code: the command is in the help, its options are in the help of the command."""
    lines = [line for kind, text in BLOCKS if kind in {"sh", ""} for line in text.splitlines()]
    lines += re.findall(r"`([^`\n]*)`", re.sub(r"^```.*?^```$", "", README, flags=re.MULTILINE | re.DOTALL))
    # In the table the options stand beside the command.
    for row in re.findall(r"^\| `assay .*$", README, re.MULTILINE):
        cells = re.findall(r"`([^`]*)`", row)
        lines.append(" ".join([cells[0]] + [cell for cell in cells[1:] if cell.startswith("--")]))
    used = {}
    for line in lines:
        words = re.sub(r"#.*", "", line).split()
        if len(words) < 2 or words[0] != "assay" or not re.fullmatch(r"[a-z]+", words[1]):
            continue
        command = tuple(words[1:3]) if words[1] in {"calibrate", "new"} and len(words) > 2 else (words[1],)
        used.setdefault(command, set()).update(word for word in words if word.startswith("--"))
    whole = program.assay("--help")
    report.check(whole.status == 0 and whole.out, "assay --help", f"exit {whole.status}")
    report.check(len(used) >= 6, "README names commands", " ".join(sorted(" ".join(c) for c in used)))
    for command, options in sorted(used.items()):
        help_text = program.assay(*command, "--help")
        name = " ".join(command)
        report.check(help_text.status == 0 and re.search(rf"^\s*{command[0]}\b", whole.out, re.MULTILINE),
                     f"assay {name} --help", f"exit {help_text.status}")
        missing = [option for option in sorted(options) if not re.search(rf"{option}\b", help_text.out)]
        report.check(not missing, f"  its options {' '.join(sorted(options))}", f"missing {missing}" if missing else "")


def bench_keys():
    text = source("cli/files/bench/bench_parts.cpp")
    doubt = {"uncertainty_percent", "tolerance_percent"}
    for reader, heading in (("read_sound", "`[sound]`"), ("read_output", "`[[output]]`"), ("read_input", "`[[input]]`"),
                            ("read_meter", "`[[meter]]`"), ("read_load", "`[[load]]`"), ("read_jig", "`[impedance_jig]`")):
        body = re.search(rf"^\w[\w:]* {reader}\(.*?^}}", text, re.MULTILINE | re.DOTALL).group(0)
        known = set(re.findall(r'table\.(?:number|text|name|names|flag|choice|date)\("(\w+)"', body))
        known |= doubt if "read_doubt" in body else set()
        documented = table_names(section(heading))
        same(f"keys of {heading.strip('`')}", documented, known)
    settings = re.findall(r'\{(whole|amp|sound|unit|around), "(\w+)"', source("capture/simulated/settings_keys.cpp"))
    whole = section("`[simulated]`")
    same("keys of [simulated] and its tables", table_names(whole), {key for _, key in settings})


def job_keys():
    unit = re.search(r"^Unit read_unit\(.*?^}", source("cli/files/job/job_file.cpp"), re.MULTILINE | re.DOTALL).group(0)
    same("keys of [unit]", table_names(section("`[unit]`")), re.findall(r'table\.\w+\("(\w+)"', unit))
    rating = re.search(r"^RatingStatement read_rating_table\(.*?^}", source("cli/files/job/job_file.cpp"), re.MULTILINE | re.DOTALL).group(0)
    headed, bases = section("`[rating]`").split("| basis |")
    same("keys of [rating]", table_names(headed), re.findall(r'table\.(?:number|choice)\("(\w+)"', rating))
    same("bases of [rating]", re.findall(r'^\| `"([a-z0-9.-]+)"`', bases, re.MULTILINE),
         re.findall(r'basis\.name = "([a-z0-9.-]+)"', source("cli/measures/judgement/rating.cpp")))
    claim = re.search(r"^RawClaim read_claim\(.*?^}", source("cli/files/job/job_claims.cpp"), re.MULTILINE | re.DOTALL).group(0)
    same("keys of [[claim]]", table_names(section("`[[claim]]`")), re.findall(r'= table\.\w+\("(\w+)"', claim)
         + re.findall(r'claim\.\w+ = table\.\w+\("(\w+)"', claim))


def measures():
    """The sections of the measures against the table that the program itself goes by."""
    files = [path.relative_to(SOURCE) for path in sorted((SOURCE / "cli/measures").rglob("*.cpp"))]
    text = source(*files)
    known = set(re.findall(r'\bmeasure\.name = "([a-z-]+)"', text)) | set(re.findall(r'\.name = "([a-z-]+)",\s*\.summary', text))
    headed = re.findall(r"^### `([a-z-]+)`:", README, re.MULTILINE)
    same("measures", headed, known)
    fields = set(re.findall(r'\{(?:\.name = )?"(\w+)",\s*(?:\.type = )?FieldType::', text))
    job = section("`[[test]]`") + "".join(section(f"`{name}`:") for name in headed)
    report.check(bool(fields), "the program's fields are found", f"{len(fields)}")
    named = set(re.findall(r"`([a-z0-9_]+)`", job))
    report.check(not fields - named, "every field is documented", str(sorted(fields - named)))
    quantities = {name.replace("{limit}", "1") for name in
                  re.findall(r'\{(?:\.name = )?"([a-z0-9_{}]+_(?:w|v|db|percent))",\s*(?:\.unit = )?"', text)}
    report.check(bool(quantities), "the program's quantities are found", f"{len(quantities)}")
    # harmonic_2 to harmonic_10 are named by the first and the last.
    between = {f"harmonic_{n}_percent" for n in range(3, 10)}
    report.check(not quantities - between - named, "every quantity is documented", str(sorted(quantities - between - named)))


for part in (named_files, examples, commands, bench_keys, job_keys, measures):
    report.guarded(part.__name__, part)
report.finish()
