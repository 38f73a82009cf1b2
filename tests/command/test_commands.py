"""The command: exit codes, exact messages, and input that is broken in every way we know."""

import errno
import os
import re
import shlex
import subprocess
import sys
import tomllib
from importlib import import_module

import numpy as np
import pytest
from farm_folder import copy_sample, keep_fields
from places import SAMPLE

from scheduler.command import main
from scheduler.command.parser import HAND_KINDS, command_parser, entry_words, parsed
from scheduler.report.phrases import WORK_TEXT
from scheduler.report.terminal.first_screen import LINES

ON = "2026-08-12"


@pytest.fixture
def folder(tmp_path):
    return copy_sample(tmp_path / "farm")


def output(capsys, code, *words):
    """Run a command; its output, or its errors where an exit code other than 0 is expected."""
    assert main([str(w) for w in words]) == code
    got = capsys.readouterr()
    assert "Traceback" not in got.out + got.err
    return got.err if code else got.out


def test_usage_is_two():
    with pytest.raises(SystemExit) as stop:
        main(["plan"])
    assert stop.value.code == 2
    with pytest.raises(SystemExit) as stop:
        main(["plan", "x", "--days", "99"])
    assert stop.value.code == 2


def test_the_version_has_one_source(capsys):
    with pytest.raises(SystemExit) as stop:
        main(["--version"])
    assert stop.value.code == 0
    project = tomllib.loads((SAMPLE.parent / "pyproject.toml").read_text(encoding="utf-8"))
    assert capsys.readouterr().out == f"afterrain {project['project']['version']}\n"


@pytest.mark.parametrize("words", [["--help"], ["plan", "--help"], ["whatif", "--help"]])
def test_help_loads_nothing_that_computes(words):
    """Asked in a fresh process, because this one has loaded everything."""
    heavy = {"numpy", "pandas", "numba", "matplotlib", "ortools", "flask", "tqdm"}
    code = (
        "import sys\nfrom scheduler.command import main\n"
        f"try: main({words})\n"
        f"except SystemExit: print('loaded', *{heavy} & set(sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1].split() == ["loaded"]


def test_every_subcommand_names_a_function_that_exists():
    (commands,) = (a for a in command_parser()._actions if isinstance(a.choices, dict))
    assert len(commands.choices) == 16
    for command in commands.choices.values():
        module, function = command.get_default("run").args
        assert callable(getattr(import_module(f"scheduler.command.{module}"), function))


def test_help_of_each_command_has_a_sentence_and_an_example_that_parses(capsys):
    (commands,) = (a for a in command_parser()._actions if isinstance(a.choices, dict))
    for name, command in commands.choices.items():
        text = " ".join(command.format_help().split())
        assert re.search(r"[A-Z][^.]+\.", command.description)
        assert " ".join(command.description.split()) in text
        lines = command.epilog.partition("example")[2].splitlines()[1:]
        assert lines
        for line in lines:
            words = shlex.split(line)
            assert words[:2] == ["afterrain", name]
            assert parsed(words[1:]).command == name


def test_help_of_log_shows_how_each_entry_is_written(capsys):
    with pytest.raises(SystemExit):
        parsed(["log", "farm", "--help"])
    text = capsys.readouterr().out
    for kind in HAND_KINDS.values():
        assert f"\n  {entry_words(kind)}\n" in text
    assert "\n  down MACHINE [UNTIL] [REASON]\n" in text
    assert all(words in " ".join(text.split()) for words in ("running again", "away until"))


@pytest.mark.parametrize("code", [errno.EROFS, errno.EACCES, errno.ENOSPC])
def test_a_disk_that_takes_no_plan_is_one_line_and_the_old_plan_stays(
    folder, capsys, monkeypatch, code
):
    """In place of a read-only or full disk, which a test that runs as root cannot make."""
    keep_fields(folder, 4)
    words = ("plan", folder, "--on", ON, "--fast", "--days", "3")
    output(capsys, 0, *words)
    plan = folder / "plans" / ON
    before = {path.name: path.read_bytes() for path in plan.iterdir()}

    def refuse(*_args, **_more):
        raise OSError(code, os.strerror(code), str(plan))

    monkeypatch.setattr("scheduler.atomic.tempfile.mkdtemp", refuse)
    line = output(capsys, 1, *words)
    assert line == (
        f"afterrain: {plan}: cannot be read or written ({os.strerror(code)}); make room on the "
        "disk, or give yourself permission, then try again\n"
    )
    assert {path.name: path.read_bytes() for path in plan.iterdir()} == before


def test_the_time_of_an_entry_is_given_once(capsys):
    """`--from` is another name of `--at`: the second would silently win."""
    with pytest.raises(SystemExit) as stop:
        parsed(["log", "farm", "absent", "north", "--from", "12:00", "--at", "06:00"])
    assert stop.value.code == 2
    assert "--at and --from are the same time: give one of them" in capsys.readouterr().err


def test_a_wrong_date_is_one_line(folder, capsys):
    line = output(capsys, 1, "plan", folder, "--on", "12/08")
    assert line == (
        'afterrain: --on "12/08" is no date; write it as 2026-08-12 or 2026-08-12T14:30\n'
    )


def test_no_such_folder_and_an_empty_one(tmp_path, capsys):
    assert "afterrain: " in output(capsys, 1, "plan", tmp_path / "nowhere", "--on", ON)
    assert "farm.toml" in output(capsys, 1, "plan", tmp_path, "--on", ON)


def break_column(folder):
    text = (folder / "fields.csv").read_text(encoding="utf-8").replace("crop", "kropp", 1)
    (folder / "fields.csv").write_text(text, encoding="utf-8")
    return "crop"


def break_area(folder):
    lines = (folder / "fields.csv").read_text(encoding="utf-8").splitlines()
    head = lines[0].split(",")
    at = next(i for i, name in enumerate(head) if name.startswith("area"))
    cells = lines[1].split(",")
    cells[at] = "-160"
    lines[1] = ",".join(cells)
    (folder / "fields.csv").write_text("\n".join(lines), encoding="utf-8")
    return "-160"


def break_crop(folder):
    text = (folder / "fields.csv").read_text(encoding="utf-8").replace("durum", "triffid")
    (folder / "fields.csv").write_text(text, encoding="utf-8")
    return "triffid"


def break_junk(folder):
    rng = np.random.default_rng(0)
    (folder / "fields.csv").write_bytes(rng.integers(0, 256, 4000, dtype=np.uint8).tobytes())
    return "fields.csv"


def break_toml(folder):
    (folder / "farm.toml").write_bytes(b"\x00\xff[base\nlat = ")
    return "farm.toml"


def break_size(folder):
    with (folder / "rain.csv").open("wb") as file:  # sparse: 200 MB that take no room
        file.truncate(200 * 1024 * 1024)
    return "rain.csv"


@pytest.mark.parametrize(
    "fault", [break_column, break_area, break_crop, break_junk, break_toml, break_size]
)
def test_broken_farm_files_are_one_user_error_and_write_nothing(folder, capsys, fault):
    named = fault(folder)
    before = sorted(p.name for p in folder.iterdir())
    for command in ("plan", "ready", "check"):
        words = [command, folder] + ([] if command == "check" else ["--on", ON])
        assert main([str(w) for w in words]) == 1
        got = capsys.readouterr()
        assert "Traceback" not in got.out + got.err
        assert named in got.out + got.err
    assert sorted(p.name for p in folder.iterdir()) == before


def test_a_forecast_file_that_is_not_there_is_named_with_what_to_do(folder, capsys):
    line = output(capsys, 1, "ready", folder, "--on", ON, "--forecast", "nowhere.csv")
    assert line == (
        "afterrain: nowhere.csv: there is no such file; check its name, or leave --forecast out to "
        "plan on the last forecast of `afterrain fetch`\n"
    )


def test_a_forecast_that_starts_later_is_refused(folder, capsys):
    line = output(capsys, 1, "plan", folder, "--on", "2026-08-09")
    assert line.startswith("afterrain: ")
    assert not (folder / "plans").exists()


def test_a_forecast_grown_too_old_is_refused_politely(folder, capsys):
    line = output(capsys, 1, "plan", folder, "--on", "2026-08-20")
    assert "old" in line
    assert not (folder / "plans").exists()


def test_ready_prints_every_field(folder, capsys):
    out = output(capsys, 0, "ready", folder, "--on", ON)
    assert "Home quarter" in out
    assert "lost to" in out


@pytest.mark.parametrize(
    "words",
    [
        ("check",),
        ("ready", "--on", ON),
        ("log",),
        ("whatif", "--help"),
        ("review", "--book", str(SAMPLE / "season.sqlite"), "--until", "nonsense"),
    ],
)
def test_a_reader_who_has_seen_enough_ends_a_command_quietly(folder, words):
    code = "import sys; from scheduler.command import main; sys.exit(main())"
    command, *options = words
    run = subprocess.Popen(
        [sys.executable, "-c", code, command, str(folder), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert run.stdout is not None
    run.stdout.close()  # nobody reads any of it
    _, errors = run.communicate(timeout=120)
    assert "Traceback" not in errors
    assert "Broken" not in errors


def test_the_order_of_rows_leaves_the_hours_as_they_are(folder, capsys):
    """Plan, review and sheet begin from the same farm, as `tests/farm_files` shows."""
    given = output(capsys, 0, "ready", folder, "--on", ON)
    for name in ("fields.csv", "rain.csv"):
        head, *rows = (folder / name).read_text(encoding="utf-8").splitlines(keepends=True)
        (folder / name).write_text(head + "".join(reversed(rows)), encoding="utf-8")
    assert output(capsys, 0, "ready", folder, "--on", ON) == given


@pytest.mark.parametrize("work", ["tillage", "planting", "spraying"])
def test_ready_for_other_work(folder, capsys, work):
    out = output(capsys, 0, "ready", folder, "--on", ON, "--work", work)
    assert f"chance of at least so many hours to {WORK_TEXT[work][0]}." in " ".join(out.split())
    assert ("The product label and local law decide" in out) == (work == "spraying")


def test_ready_for_unknown_work_is_usage(folder, capsys):
    with pytest.raises(SystemExit) as stop:
        main(["ready", str(folder), "--work", "harrowing"])
    assert stop.value.code == 2
    assert "argument --work: invalid choice: 'harrowing'" in capsys.readouterr().err


def readme_lines():
    """The lines of the sample's plan that the README shows."""
    text = (SAMPLE.parent / "README.md").read_text(encoding="utf-8")
    return text.split("<!-- sample output -->\n```\n")[1].split("```")[0]


@pytest.mark.slow
def test_plan_writes_what_it_says_and_price_prices_it(folder, capsys):
    out = output(capsys, 0, "plan", folder, "--on", ON)
    assert readme_lines() in out
    assert len(out.split("\n\n\nwritten to")[0].splitlines()) <= LINES
    written = {p.name for p in (folder / "plans" / ON).iterdir()}
    assert {"sheet.html", "plan.json", "plan.csv"} <= written
    order = ["--order", "north crew=F17,F04"]
    out = output(capsys, 0, "price", folder, "--on", ON, "--days", "5", *order)
    assert out.startswith("your order loses $")
    line = output(capsys, 1, "price", folder, "--on", ON, "--days", "5", "--order", "north crew")
    assert line == 'afterrain: --order "north crew": write it as CREW=FIELD,FIELD,...\n'


@pytest.mark.slow
def test_the_first_plan_begins_the_book_and_the_next_says_what_changed(folder, capsys):
    out = output(capsys, 0, "plan", folder, "--on", "2026-08-12T06:00", "--days", "5")
    assert "issued into the season book" in out
    at = ("--at", "2026-08-12T06:20")
    output(capsys, 0, "log", folder, "ground", "F04", "soft", *at)
    output(capsys, 0, "log", folder, "down", "C3", "--until", "2026-08-14T20:00", *at)
    out = output(capsys, 0, "plan", folder, "--on", "2026-08-12T06:30", "--days", "5")
    assert "changed" in out.lower()


def readme_commands():
    """Every command that the README names, its words after 'afterrain'."""
    text = (SAMPLE.parent / "README.md").read_text(encoding="utf-8")
    found = re.findall(r"^afterrain (.*)$|`afterrain ([a-z]+ [^`]*)`", text, flags=re.MULTILINE)
    lines = [(a or b).partition("  #")[0] for a, b in found]
    return [words for line in lines if (words := shlex.split(line))[0] in command_names()]


#: Commands that wait for a browser, the network, many seasons or minutes of search; other tests
#: run them.
NOT_RUN = ("serve", "fetch", "plan", "price", "rehearse", "whatif", "validate", "review")


def test_every_command_of_the_readme_is_understood(capsys):
    commands = readme_commands()
    assert len(commands) > 20
    assert {c[0] for c in commands} == set(command_names())
    for words in commands:
        parsed([w.replace("FILE...", "FILE") for w in words])


def command_names():
    (commands,) = (a for a in command_parser()._actions if isinstance(a.choices, dict))
    return commands.choices


@pytest.mark.slow
def test_the_quick_commands_of_the_readme_run_on_the_sample(folder, tmp_path, capsys):
    rows = [f"2026-06-{d:02d} {h:02d}:00,0,20" for d in range(1, 4) for h in range(24)]
    past = tmp_path / "past.csv"
    past.write_text("\n".join(["time,rain_mm,temp_c", *rows]) + "\n", encoding="utf-8")
    table = tmp_path / "entries.csv"
    table.write_text("kind,subject,at,rain_in\nrain,west,2026-08-12 06:00,0.3\n", encoding="utf-8")
    places = {"past.csv": str(past), "FILE": str(table), "15:00": "23:59"}  # run at any hour
    for words in readme_commands():
        if words[0] in NOT_RUN:
            continue
        farm = str(tmp_path / "new") if words[0] == "new" else str(folder)
        done = [places.get(w, w).replace("myfarm", farm) for w in words]
        if words[0] == "ready":
            done += ["--on", ON]
        assert main(done) == 0, (done, capsys.readouterr().err)
