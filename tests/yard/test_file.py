from datetime import date

import pytest

from fruitwall.errors import YardFileError
from fruitwall.yard.file import MAX_BYTES, MAX_PROBLEMS, examine_yard, parse_yard, read_yard, write_yard
from tests.yard.yards import SMALL_YARD, edited


def problems(text: str) -> list[str]:
    """Give the messages with which a text is refused."""
    with pytest.raises(YardFileError) as refused:
        parse_yard(text)
    return refused.value.problems


def the_problem(text: str) -> str:
    found = problems(text)
    assert len(found) == 1, found
    return found[0]


def test_a_small_yard_is_read_in_si():
    yard = parse_yard(SMALL_YARD)
    assert yard.trees[0].height_m == 2
    assert yard.trees[0].stages == ["leafy"]
    assert yard.display.temperature == "C"


def test_the_message_names_file_line_field_fault_and_example():
    more = "".join(
        f"  - {{id: t{i}, name: T{i}, taxon: lime, position: [9, {i}], height: {height}, crown_diameter: 1}}\n"
        for i, height in enumerate(["1 m", "tall"])
    )
    text = "# a comment\n" * 17 + SMALL_YARD + more  # the fourth tree comes to line 41
    assert the_problem(text) == (
        'yard.yaml line 41, trees[3].height: expected a length such as "2.5 m" or "8 ft", got "tall"'
    )


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("height: 2 m", "height: 5 kg", 'trees[0].height: expected a length such as "2.5 m" or "8 ft", got "5 kg"'),
        (
            "height: 2 m",
            "height: -2 m",
            'line 15, trees[0].height: must be greater than 0 and at most 40 m, got "-2 m" (-2 m)',
        ),
        ("height: 2 m", "height: 150 ft", 'must be greater than 0 and at most 40 m, got "150 ft" (45.72 m)'),
        ("height: 2 m", "height: .nan", "got nan, which is not a finite number"),
        ("height: 2 m", "height: .inf", "got inf, which is not a finite number"),
        ("height: 2 m", "height: yes", 'trees[0].height: expected a length such as "2.5 m" or "8 ft", got "yes"'),
        ("    height: 2 m\n", "", "line 11, trees[0].height: is missing; expected a length such as"),
        ("height: 2 m", "height:", "trees[0].height: is missing; expected a length such as"),
        ("height: 2 m", "heigth: 2 m", "line 15, trees[0].heigth: unknown field; did you mean height?"),
        ("height: 2 m", "height_m: 2", "trees[0].height_m: unknown field; in the file it is called height"),
        ("taxon: mango", "colour: red\n    taxon: mango", "unknown field; here can stand: id, name, taxon, cultivar"),
        (
            "id: mango-1",
            "id: Mango 1",
            'trees[0].id: expected a short name of lower-case letters, digits, - and _ such as mango-1, got "Mango 1"',
        ),
        ("name: Mango", "name: 76", 'trees[0].name: expected text, got 76; put it in quotes: "76"'),
        ("name: Mango", 'name: "  "', 'trees[0].name: expected text, got "  "'),
        ("name: Mango", "name: " + "x" * 121, "trees[0].name: is too long: 121 characters; shorten it"),
        ("name: Mango", 'name: "a\\eb"', "trees[0].name: contains a control character"),
        ("name: Mango", "name: [a, b]", "trees[0].name: expected text, got a list of 2"),
        (
            "taxon: mango",
            "taxon: mango\n    origin: graftd",
            'expected one of seedling, grafted, cutting, unknown, got "graftd"; did you mean grafted?',
        ),
        (
            "taxon: mango",
            "taxon: mango\n    stages: leafy",
            "trees[0].stages: expected a list (one entry a line, each beginning with '-'), got \"leafy\"",
        ),
        ("taxon: mango", "taxon: mango\n    stages: [leafy, blooming]", "trees[0].stages[1]: expected one of dormant,"),
        (
            "taxon: mango",
            "taxon: mango\n    container: big",
            'trees[0].container: expected a group of fields with volume, got "big"',
        ),
        (
            "taxon: mango",
            "taxon: mango\n    container: {volume: 12 kg}",
            'trees[0].container.volume: expected a volume such as "57 L" or "15 gal" or "#15", got "12 kg"',
        ),
        (
            "taxon: mango",
            "taxon: mango\n    container: {volume: 5, handles: maybe}",
            'trees[0].container.handles: expected yes or no, got "maybe"',
        ),
        (
            "taxon: mango",
            "taxon: mango\n    planted: 2019",
            "trees[0].planted: expected a day such as 2019-03-15 "
            "(year-month-day), got 2019; if only the year is known, give the age instead",
        ),
        (
            "taxon: mango",
            "taxon: mango\n    planted: 2019-02-30",
            'such as 2019-03-15 (year-month-day), got "2019-02-30"',
        ),
        (
            "taxon: mango",
            "taxon: mango\n    planted: 3/15/2019",
            'such as 2019-03-15 (year-month-day), got "3/15/2019"',
        ),
        ("taxon: mango", "taxon: mango\n    worth: $100", "expected an amount of money without its sign"),
        (
            "[5, 5]",
            "[5]",
            "trees[0].position: expected a position such as [3.5, 12] (metres to the east and to the north), "
            "got a list of 1",
        ),
        ("[5, 5]", "[5, up]", 'trees[0].position[1]: expected a length such as "2.5 m" or "8 ft", got "up"'),
        ("[5, 5]", "[500000, 5]", "trees[0].position[0]: must be at least -10000 m and at most 10000 m, got 500000"),
        ("latitude: 33.92", "latitude: 133", "location.latitude: must be at least -90 and at most 90°, got 133"),
        ("[[0, 0], [20, 0], [20, 20], [0, 20]]", "[[0, 0], [20, 0]]", "outline: expected 3 or more, got a list of 2"),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\ndisplay: {currency: dollars}",
            'display.currency: expected a three-letter currency code such as USD or EUR, got "dollars"',
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\nstructures: [{kind: wal}]",
            "structures[0]: kind must be one of wall, "
            'building, roof, paving, canopy, fence, pond, hollow, got "wal"; did you mean wall?',
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\nstructures: [{id: w}]",
            "structures[0]: kind is missing; expected kind:",
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\nstructures: [3]",
            "structures[0]: expected a group of fields that begins with one of kind: wall, building",
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\nstructures: [{kind: pond, id: p, name: P, outline: [[0, 0], [1, x], [1, 1]]}]",
            'structures[0].outline[1][1]: expected a length such as "2.5 m" or "8 ft", got "x"',
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\ngear: {heaters: [{id: h, name: H, watts: -1500 W}]}",
            'gear.heaters[0].watts: must be greater than 0 and at most 20000 W, got "-1500 W" (-1500 W)',
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\ngear: {lamps: [{id: h, name: H, watts: -7}]}",
            "gear.lamps[0].watts: must be greater than 0 and at most 5000 W, got -7",
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\ngear: {lamps: [{id: h, name: H, watts: 7, count: 1.5}]}",
            "gear.lamps[0].count: expected a whole number such as 2, got 1.5",
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\ngear: {lamps: [{id: h, name: H, watts: 7, count: '2'}]}",
            'gear.lamps[0].count: expected a whole number such as 2, got "2"',
        ),
        (
            "gear_store: [1, 1]",
            "gear_store: [1, 1]\ngear: {lamps: [{id: h, name: H, watts: 7, count: 0}]}",
            "gear.lamps[0].count: must be at least 1 and at most 1000, got 0",
        ),
    ],
)
def test_a_wrong_value_is_told_in_plain_words(old, new, message):
    told = the_problem(edited(old, new))
    assert told.startswith("yard.yaml line ")
    assert message in told


def test_all_problems_are_told_at_once_in_the_order_of_the_file():
    text = (
        edited("elevation: 500", "elevation: high").replace("height: 2 m", "height: tall").replace("height: 1.5 m", "")
    )
    told = problems(text)
    assert [t.split(":")[0] for t in told] == [
        "yard.yaml line 6, location.elevation",
        "yard.yaml line 15, trees[0].height",
        "yard.yaml line 17, trees[1].height",
    ]


def test_an_absurd_number_of_problems_is_cut():
    told = problems(SMALL_YARD + "  - {}\n" * 200)
    assert len(told) == MAX_PROBLEMS + 1
    assert told[-1] == f"yard.yaml: and {200 * 6 - MAX_PROBLEMS} more"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", 'yard.yaml: is empty; a yard file begins with "fruitwall: 1"'),
        ("\n# only a comment\n", "yard.yaml: is empty"),
        ("just a text", "yard.yaml line 1: does not look like a yard file"),
        ("- a\n- b\n", "yard.yaml line 1: does not look like a yard file"),
        ("name: No version\n", "does not say which version of the format it has"),
        ("fruitwall: 2\n", "yard.yaml line 1, fruitwall: this program reads version 1 of the yard file, got 2"),
        ("fruitwall: yes\n", 'this program reads version 1 of the yard file, got "yes"'),
        ("fruitwall: true\n", "this program reads version 1 of the yard file, got true"),
        ("fruitwall: 1\nname: a: b\n", "yard.yaml line 2: cannot be read as YAML, column 8"),
        ("fruitwall: 1\nname: 'a\n", "cannot be read as YAML"),
        ("fruitwall: 1\noutline: [[0, 0]\nname: x\n", "yard.yaml line 3: cannot be read as YAML"),
        ("fruitwall: 1\ntrees:\n\t- id: a\n", "yard.yaml line 3: cannot be read as YAML, column 1"),
        ("fruitwall: 1\n---\nfruitwall: 1\n", "a yard file holds one yard, without '---' in between"),
        ("fruitwall: 1\nname: \x07\n", "yard.yaml line 2: contains a character that no text file has"),
        ("fruitwall: 1\nname: x\nname: y\n", "line 3, name: given twice: first on line 2, again here; keep one"),
        ("fruitwall: 1\na: &x [1]\nb: *x\n", "line 2, a: anchors and aliases (& and *) are not used in yard files"),
        ("fruitwall: 1\na: *x\n", "anchors and aliases (& and *) are not used in yard files"),
        ("fruitwall: 1\na: !!python/object:os.system x\n", "line 2, a: tags are not used in yard files"),
        ("fruitwall: 1\n? [a, b]\n: 2\n", "line 2: expected the name of a field before ':', got a list or group"),
        ("a: " + "[" * 100_000, "is nested too deeply"),
        ("- " * 5000, "it is nested too deeply"),
        ("{a: " * 5000, "is nested too deeply"),
        ("x" * (MAX_BYTES + 1), "yard.yaml: too large"),
    ],
)
def test_a_file_that_is_no_yard_gets_one_clear_message(text, message):
    assert message in the_problem(text)


def test_anchors_cannot_blow_a_small_file_up():
    text = "fruitwall: 1\na0: &a0 [x, x]\n" + "".join(f"a{i}: &a{i} [*a{i - 1}, *a{i - 1}]\n" for i in range(1, 60))
    assert all("anchors and aliases" in told for told in problems(text))


def test_two_fields_given_twice_are_both_told():
    told = problems(SMALL_YARD.replace("taxon: mango", "taxon: mango\n    taxon: lime") + "gear_store: [2, 2]\n")
    assert ["given twice" in t for t in told] == [True, True]


def test_a_file_is_read_from_disk_and_named_in_messages(tmp_path):
    path = tmp_path / "garden.yaml"
    path.write_text(SMALL_YARD, encoding="utf-8-sig")
    assert read_yard(path) == parse_yard(SMALL_YARD)
    path.write_text(edited("height: 2 m", "height: tall"), encoding="utf-8")
    with pytest.raises(YardFileError, match=r"garden\.yaml line 15, trees\[0\]\.height"):
        read_yard(path)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"\x89PNG\r\n\x1a\n\xff\xff", "line 1: not a text file in UTF-8; is this a yard file?"),
        (b"fruitwall: 1\nname: Jard\xedn\n", "line 2: not a text file in UTF-8"),
        (b"fruitwall: 1\0\0\0", "this is not a text file"),
        (b"#" * (MAX_BYTES + 1), "too large"),
    ],
)
def test_a_file_that_is_not_text_gets_one_clear_message(tmp_path, content, message):
    path = tmp_path / "yard.yaml"
    path.write_bytes(content)
    with pytest.raises(YardFileError) as refused:
        read_yard(path)
    assert len(refused.value.problems) == 1
    assert message in refused.value.problems[0]


def test_a_missing_file_or_a_folder_gets_one_clear_message(tmp_path):
    with pytest.raises(YardFileError, match="there is no such file"):
        read_yard(tmp_path / "none.yaml")
    with pytest.raises(YardFileError, match="this is a folder"):
        read_yard(tmp_path)
    with pytest.raises(YardFileError, match="cannot be opened"):
        read_yard("a\0b")


def test_yes_and_no_are_read_as_people_write_them():
    text = edited("taxon: mango", "taxon: mango\n    container: {volume: 5, handles: Yes}")
    assert parse_yard(text).trees[0].container.handles is True


def test_a_section_left_empty_counts_as_left_out():
    assert parse_yard(SMALL_YARD + "shelters:\ngear:\nprices:\n") == parse_yard(SMALL_YARD)


def test_warnings_come_with_their_lines_and_do_not_refuse_the_yard():
    examined = examine_yard(edited("taxon: mango", "taxon: mango\n    planted: 2030-01-01"), today=date(2026, 12, 22))
    assert examined.yard is not None
    assert examined.errors == []
    assert examined.warnings == ["yard.yaml line 14, trees[0].planted: 2030-01-01 lies in the future"]


def test_errors_between_parts_carry_lines_too():
    told = the_problem(edited("[5, 5]", "[50, 5]"))
    assert told == "yard.yaml line 14, trees[0].position: [50, 5] lies outside the yard's outline"


def test_a_written_yard_is_readable():
    text = write_yard(parse_yard(SMALL_YARD))
    assert "  - id: mango-1\n" in text
    assert "    position: [5, 5]\n" in text
    assert "    height: 2\n" in text
    assert text.startswith("# ")


def test_nothing_is_written_to_standard_output(capsys):
    examine_yard(edited("height: 2 m", "height: tall"))
    assert capsys.readouterr() == ("", "")
