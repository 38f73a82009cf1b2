"""`afterrain log`, export, import, backup: one line in, one line out, tables there and back."""

from datetime import UTC, datetime, timedelta

import pytest
from farm_folder import copy_sample
from hypothesis import given
from hypothesis import strategies as st
from mornings import farm as make_farm

from scheduler.command import main
from scheduler.errors import BookError, EntryError, UnreadableError
from scheduler.farm_files.folder import read_farm
from scheduler.season_book.book import Book
from scheduler.season_book.csv_exchange import book_csv, import_rows, read_rows
from scheduler.season_book.current_farm import apply_book
from scheduler.season_book.entry_kinds import KINDS, Entry, crop_of
from scheduler.season_book.formatting import write_value
from scheduler.season_book.parsing import read_entry
from scheduler.season_book.value_parsing import read_value

NOW = datetime(2026, 8, 16, 11, 40, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path):
    return copy_sample(tmp_path, "farm.toml", "fields.csv", "rain.csv")


@pytest.fixture
def log(folder, capsys):
    def run(*words):
        code = main(["log", str(folder), *words, *(() if "undo" in words else ("--by", "Ann"))])
        out = capsys.readouterr()
        return code, (out.out or out.err).splitlines()[0]

    return run


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ("rain east 0.62", "rain gauge east: rain 0.62 in"),
        ("rain east 10 mm 36", "rain gauge east: rain 0.39 in, over 36 h"),
        (
            "sample F07 16.8 --test-weight 59",
            "grain sample F07: moisture 16.8 %, test weight 59.0 lb/bu",
        ),
        (
            "ground f07 headland-only wet at the gate",
            "ground check F07: headland-only, wet at the gate",
        ),
        ("cut F07 80 ac north", "area cut F07: 80.0 ac, crew north crew"),
        ("cut F07 all", "area cut F07: 301 ac"),
        ("down C2", "breakdown C2"),
        ("repaired C2", "repaired C2"),
        ("absent south", "absent south crew: away until Thu 13 Aug midnight"),
        (
            "ticket Rail F07 612 --moisture 14.1 --price 6.85",
            "load ticket Rail elevator: field F07, weight 612 bu, moisture 14.1 %, price $6.85/bu",
        ),
        ("notice Rail full", "delivery point notice Rail elevator: full"),
        ("order north F07 F03 --why dry", "own order north crew: F07, F03, dry"),
    ],
)
def test_each_kind_in_one_line(log, words, line):
    code, output = log(*words.split(), "--at", "2026-08-12 06:40")
    assert code == 0
    assert output.startswith(f"entry 1: {line} (")
    assert output.endswith(", Ann)")


@pytest.mark.parametrize(
    ("at", "until", "days", "away"),
    [
        ("", "", [16], []),
        ("2026-08-18", "", [18], []),
        ("", "2026-08-18", [16, 17, 18], []),
        ("2026-08-18 12:00", "", [], [("18 12:00", "19 00:00")]),
        ("2026-08-18 12:00", "2026-08-18 18:00", [], [("18 12:00", "18 18:00")]),
        ("2026-08-18", "2026-08-18 12:00", [], [("18 00:00", "18 12:00")]),
        ("2026-08-18 12:00", "2026-08-19", [19], [("18 12:00", "20 00:00")]),
    ],
)
def test_an_absence_takes_the_hours_that_it_names(folder, tmp_path, at, until, days, away):
    farm = read_farm(folder)

    def absence(book):
        there = apply_book(farm, book, NOW + timedelta(days=9))
        crew = next(c for c in there.crews if c.id == "south crew")
        shown = [tuple(f"{t.astimezone(farm.tz):%d %H:%M}" for t in pair) for pair in crew.away]
        return [d.day for d in crew.absent], shown

    with Book(folder) as book:
        book.add(read_entry("absent", "south", {"until": until}, farm, now=NOW, at=at))
        assert absence(book) == (days, away)
        text = book_csv(book, farm)
    # law: there and back through a table changes nothing
    (tmp_path / "other").mkdir()
    with Book(tmp_path / "other") as book:
        import_rows(book, read_rows(text, farm, now=datetime.now(UTC)))
        assert absence(book) == (days, away)


def test_whole_days_of_older_books_stay_whole_days(folder):
    # books of version 0.1.0 kept the clock of an entry without a day, and days alone as the end
    farm = read_farm(folder)
    with Book(folder) as book:
        book.add(Entry(kind="absent", subject="south crew", at=NOW, facts={}))
        there = apply_book(farm, book, NOW + timedelta(days=9))
        crew = next(c for c in there.crews if c.id == "south crew")
    assert ([d.day for d in crew.absent], crew.away) == ([16], ())


def test_an_absence_ends_after_it_begins(log):
    words = ("--at", "2026-08-12 12:00", "--until", "2026-08-12 09:00")
    code, output = log("absent", "south", *words)
    assert code == 1
    assert output == (
        "afterrain: until: ends before it begins; give a later time; "
        "it is written: afterrain log FOLDER absent WHO [UNTIL] [REASON]"
    )


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            "foo x",
            '"foo" is not known; known are rain, sample, tough, ground, falling, lodged, '
            "swathed, begun, cut, spray, down, repaired, absent, ticket, notice, order",
        ),
        (
            "sampel F07 16",
            '"sampel" is not known; did you mean "sample"? known are rain, sample, tough, '
            "ground, falling, lodged, swathed, begun, cut, spray, down, repaired, absent, "
            "ticket, notice, order",
        ),
        ("down C9", 'machine "C9" is not known; known are C1, C2, C3, cart 1, '),
        ("sample F07", "moisture: moisture is missing"),
        (
            "sample F07 168",
            "moisture: 168 is outside of 3.0 % to 60.0 %; check the number and its unit",
        ),
        ("sample F07 dry", 'moisture: "dry" is not a number; write digits, as 12.5'),
        (
            "cut F07 500",
            "area: 500 ac, 301 ac are left of F07; check the number, or correct an earlier entry",
        ),
        ("rain east 5 cups", 'hours: "cups" is not a number; write digits, as 12.5'),
        ("rain east 5 24 7", '"7" is one word too many: log FOLDER rain GAUGE RAIN [HOURS]'),
        (
            "rain east 5cups",
            'rain: "cups" is not a unit of this value; use one of in, inch, inches, mm, cm',
        ),
        ("rain east 1e999", "rain: "),
        ("rain east nan", 'rain: "nan" is not a number; write digits, as 12.5'),
        ("rain east -1", "rain: -1 is outside of 0.00 in to 19.69 in"),
        ("rain east 1 --at 2019-01-01", "at: 2019-01-01 is more than a season ago; check the "),
        ("rain east 1 --at 2099-01-01", "at: 2099-01-01 is still to come; check day and hour"),
        ("ground F07 damp", 'ground: "damp" is not known; use one of firm, headland-only, '),
        ("down C2 --at 10:00 --until 09:00", "until: ends before it begins"),
        ("plan x", "a plan is written by the program; known are rain, "),
        ("undo", "the book has no entry to take back"),
        ("undo 7", "the book has no entry 7"),
        ("undo x", '"x" is not the number of an entry'),
    ],
)
def test_errors_name_what_is_known(log, words, message):
    code, output = log(*words.split())
    assert code == 1
    assert output.startswith(f"afterrain: {message}")


def test_undo_and_correct(log, folder):
    log("rain", "east", "6.2")
    log("rain", "east", "0.62", "--correct", "1")
    assert log("rain", "east", "0.7", "--correct", "1")[1].startswith(
        "afterrain: entry 1 was corrected by Ann in the meantime (entry 2)"
    )
    code, output = log("undo")
    assert (code, output.split(" (")[0]) == (
        0,
        "taken back: entry 2: rain gauge east: rain 0.62 in",
    )
    assert log("undo", "2")[1] == "afterrain: entry 2 was taken back or corrected already"
    with Book(folder) as book:
        assert book.entries() == []
        assert len(book.entries(superseded=True)) == 3


def test_export_and_import_keep_every_entry(log, folder, tmp_path, capsys):
    log("rain", "east", "0.62")
    log("sample", "F07", "16.8", "--test-weight", "59")
    log("order", "north", "F07", "F03", "--why", "=dry")
    log("rain", "east", "0.71", "--correct", "1")
    log("undo")
    assert main(["export", str(folder), str(tmp_path / "a.csv")]) == 0
    assert main(["import", str(folder), str(tmp_path / "a.csv")]) == 0
    assert capsys.readouterr().out.endswith("0 entries added, 5 were there already\n")
    other = copy_sample(tmp_path / "other", "farm.toml", "fields.csv")
    assert main(["import", str(other), str(tmp_path / "a.csv")]) == 0
    assert main(["export", str(other), str(tmp_path / "b.csv")]) == 0
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    assert b"'=dry" in (tmp_path / "a.csv").read_bytes()  # no formula for a spreadsheet
    with Book(other) as book:
        (order,) = book.entries("order")
        assert order.facts == {"fields": ("F07", "F03"), "why": "=dry"}


def test_a_spreadsheet_with_semicolons_commas_and_other_units(folder):
    farm = read_farm(folder)
    text = (
        "kind;subject;at;rain_mm;moisture_pct;colour\r\n"
        "rain;east;2026-08-12 06:00;12,7;;x\r\nsample;F07;2026-08-12 07:00;;16,8;\r\n"
    )
    rows = read_rows(text, farm, now=NOW)
    assert [r.entry.facts for r in rows] == [{"rain": 12.7}, {"moisture": 16.8}]


def test_a_table_with_problems_is_not_imported_and_all_problems_are_listed(
    folder, tmp_path, capsys
):
    table = tmp_path / "t.csv"
    table.write_text(
        "kind,subject,at,rain,ground\nrain,east,2026-08-12,0.5,\nrain,nowhere,2026-08-12,0.5,\n"
        "rain,east,,0.5,\nground,F07,2026-08-12,,damp\nrain,east,2026-08-12,1,soft\n"
    )
    assert main(["import", str(folder), str(table)]) == 1
    assert capsys.readouterr().err.splitlines() == [
        f"afterrain: {table}: nothing was imported:",
        'row 3, subject: gauge "nowhere" is not known; known are yard, east, far east, west, south',
        "row 4, at: is missing; give the time, as 2026-08-12 06:40",
        'row 5, ground: "damp" is not known; use one of firm, headland-only, soft, ruts',
        "row 6, ground: rain gauge has no ground",
    ]
    assert not Book.exists(folder)


def test_the_same_table_twice_adds_once(folder, tmp_path, capsys):
    table = tmp_path / "t.csv"
    table.write_text("kind,subject,at,rain\nrain,east,2026-08-12,0.5\nrain,east,2026-08-12,0.5\n")
    for _ in range(2):
        assert main(["import", str(folder), str(table)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == ["2 entries added", "0 entries added, 2 were there already"]


def test_backup_needs_a_book_and_a_folder(folder, tmp_path, capsys):
    assert main(["backup", str(folder)]) == 1
    assert "has no season book yet" in capsys.readouterr().err
    main(["log", str(folder), "down", "C1"])
    assert main(["backup", str(folder), str(tmp_path / "no" / "b.sqlite")]) == 1
    assert "is no folder: make it first" in capsys.readouterr().err
    assert main(["backup", str(folder), str(tmp_path / "b.sqlite")]) == 0
    assert capsys.readouterr().out == f"{tmp_path / 'b.sqlite'}: 1 entry, checked\n"


def test_export_needs_a_place(folder, tmp_path, capsys):
    main(["log", str(folder), "down", "C1"])
    capsys.readouterr()
    assert main(["export", str(folder), str(tmp_path / "no" / "b.csv")]) == 1
    assert "is no folder: make it first, or name another" in capsys.readouterr().err


def test_export_and_backup_go_to_the_farm_folder_by_default(folder, tmp_path, monkeypatch, capsys):
    main(["log", str(folder), "down", "C1"])
    capsys.readouterr()
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    for command, ending in (("export", "csv"), ("backup", "sqlite")):
        assert main([command, str(folder)]) == 0
        to = folder / f"book-{datetime.now(UTC):%Y-%m-%d}.{ending}"
        assert to.is_file()
        assert capsys.readouterr().out.startswith(f"{to}: 1 entry")
    assert not list((tmp_path / "elsewhere").iterdir())


@pytest.mark.parametrize(
    "words",
    [
        "--at 2026-08-12T06:40 --by Ann {} down C2 --until 15:00",
        "{} --at 2026-08-12T06:40 down --until=15:00 C2 --by Ann",
        "{} down C2 --until 15:00 --by Ann --at 2026-08-12T06:40",
    ],
)
def test_options_stand_anywhere_and_until_is_on_the_clock_of_at(folder, capsys, words):
    assert main(["log", *words.format(folder).split()]) == 0
    line = capsys.readouterr().out.splitlines()[0]
    assert line.startswith("entry 1: breakdown C2: running again Wed 12 Aug 3 pm (Wed 12 Aug 6:40")


def test_until_now_is_the_clock_of_the_writer(folder):
    farm, at = read_farm(folder), "2026-08-15 06:00"
    entry = read_entry("down", "C2", {"until": "now"}, farm, now=NOW, at=at)
    assert datetime.fromisoformat(entry.facts["until"]) == NOW


def test_help_of_log_names_values_in_plain_words(capsys):
    with pytest.raises(SystemExit):
        main(["log", "--help"])
    text = capsys.readouterr().out
    assert "FACT" not in text
    assert "--moisture NUMBER" in text
    assert "--ground WORD         ground: firm, headland-only, soft, ruts" in text


FARMS = {u: make_farm(units=u) for u in ("us", "metric")}
NUMBERS = [
    (k.name, f)
    for k in KINDS.values()
    for f in k.facts
    if f.quantity
    in ("depth", "percent", "area", "mass", "price", "test_weight", "number", "hours", "money")
]


@given(st.sampled_from(NUMBERS), st.sampled_from(sorted(FARMS)), st.floats(0, 1))
def test_numbers_there_and_back(kind_fact, units, share):
    # law: what is written in the farm's units reads back as the same SI value
    _, fact = kind_fact
    farm = FARMS[units]
    high = min(fact.high, 1e5)
    value = fact.low + share * (high - fact.low)
    for crop in {f.crop for f in farm.fields}:
        text = write_value(fact, value, farm, crop)
        try:
            back = read_value(fact, text, farm, crop=crop, now=NOW)
        except UnreadableError:
            assert share < 1e-9 or share > 1 - 1e-9  # the bound itself, rounded outwards
        else:
            assert back == pytest.approx(value, rel=1e-9, abs=1e-9)


@given(
    st.sampled_from(sorted(KINDS)),
    st.text(),
    st.text(),
    st.dictionaries(
        st.sampled_from(["rain", "moisture", "ground", "area", "until", "fields", "weight", "why"]),
        st.text(),
    ),
    st.text(),
)
def test_any_text_is_read_or_refused(kind, subject, by, facts, at):
    # law: whatever is typed ends in an entry whose values are in bounds, or in an EntryError
    farm = FARMS["us"]
    try:
        entry = read_entry(kind, subject, facts, farm, now=NOW, at=at, by=by)
    except EntryError:
        return
    for fact in KINDS[kind].facts:
        number = entry.number(fact.name)
        assert number is None or fact.low <= number <= fact.high
    assert abs(entry.at - NOW) < timedelta(days=401)
    assert crop_of(farm, entry.subject, entry.facts)


def test_hand_a_bushel_of_wheat_on_a_ticket():
    # hand: 612 bu of wheat at 60 lb and 0.45359237 kg/lb is 16.656 t
    farm = FARMS["us"]
    wheat = next(f.id for f in farm.fields if f.crop.startswith("wheat"))
    facts = {"field": wheat, "weight": "612"}
    entry = read_entry("ticket", farm.points[0].id, facts, farm, now=NOW)
    assert entry.facts["weight"] == pytest.approx(16.656, abs=5e-4)


def test_a_heading_is_needed(folder):
    with pytest.raises(
        BookError,
        match="the heading has no kind and no subject: begin with kind, subject; for a table of "
        "weather give --records, or ",
    ):
        read_rows("a,b\n1,2\n", read_farm(folder), now=NOW)


def test_export_of_an_empty_book_is_a_heading(tmp_path):
    with Book(tmp_path) as book:
        assert len(book_csv(book, FARMS["metric"]).splitlines()) == 1
