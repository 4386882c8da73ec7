"""Somebody's own spreadsheet: how it is read, what is asked, what is taken in."""

import csv
import datetime as dt
import io
import re
import zipfile
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from flockcare.birds.models import Bird, Weighing
from flockcare.care.due import open_dues
from flockcare.care.holds import LONG_PAST_DAYS, open_holds
from flockcare.care.models import CareStep
from flockcare.exchange.spreadsheet.sheet import Sheet, read_sheet, read_text
from flockcare.exchange.spreadsheet.targets import proposal, suggest, targets
from flockcare.exchange.spreadsheet.values import (
    date_order,
    read_date,
    read_number,
    read_roughly,
    read_time,
    read_weight,
)
from flockcare.exchange.spreadsheet.views import sheet_of
from flockcare.feet.models import Check, FootFinding
from tests.exchange.exchanges import peak_mb, with_a_short_lie
from tests.people.rows import FORM_PAGE, refused, seen


def _page(cast):
    return reverse("exchange:spreadsheet", args=[cast.flock.pk])


# --- Reading a file

TABLE = [["Hen", "Grüße"], ["Dill", "a, b"], ["Mace", "5 €"]]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_tables_of_every_common_kind_are_read(separator, encoding):
    quoted = '"a, b"' if separator == "," else "a, b"
    text = f"Hen{separator}Grüße\r\nDill{separator}{quoted}\r\n\r\nMace{separator}5 €\r\n"
    sheet = read_sheet(text.encode(encoding))
    assert [list(sheet.header), *(list(cells) for _, cells in sheet.rows)] == TABLE
    assert [number for number, _ in sheet.rows] == [2, 4]


def _workbook(rows) -> bytes:
    book, out = openpyxl.Workbook(), io.BytesIO()
    book.create_sheet("Second")
    for row in rows:
        book["Second"].append(row)
    book.save(out)
    return out.getvalue()


def test_a_workbook_is_read_with_its_dates_and_numbers():
    moment, day = dt.datetime(2024, 3, 1, 16, 5), dt.datetime(2024, 3, 2)  # noqa: DTZ001
    rows = [["Hen", "When", "g", None], ["Dill", moment, 2100.0, True], ["Mace", day, 1.5, None]]
    sheet = read_sheet(_workbook(rows))
    assert sheet.header == ("Hen", "When", "g", "column 4")
    assert [cells for _, cells in sheet.rows] == [
        ("Dill", "2024-03-01 16:05", "2100", "yes"),
        ("Mace", "2024-03-02", "1.5", ""),
    ]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"Hen\n", "names of the columns, and rows below"),
        (b"", "names of the columns"),
        (b"PK\x03\x04 nothing", "damaged"),
        (b"\xd0\xcf\x11\xe0 old", "old kind"),
        (b"a\0b\nc", "not a table"),
        (b"a\n" + b"x\n" * 6000, "more than 5000 rows"),
        (b",".join([b"x"] * 70) + b"\n" + b",".join([b"y"] * 70), "more than 60 columns"),
        (b"x" * (10 * 2**20 + 1), "larger than 10 MB"),
    ],
)
def test_what_is_no_table_is_refused_in_words(data, words):
    with pytest.raises(ValueError, match=words):
        read_sheet(data)


@settings(deadline=None, max_examples=50)
@given(st.lists(st.lists(st.text(max_size=8), min_size=2, max_size=2), min_size=1, max_size=5))
def test_a_table_travels_in_the_page_unchanged(rows):
    sheet = Sheet(("a", "b"), tuple((at, tuple(cells)) for at, cells in enumerate(rows)))
    assert Sheet.unpack(sheet.pack()) == sheet


@pytest.mark.parametrize("text", ["", "x", "eJwDAAAAAAE=", "!!!"])
def test_a_table_that_was_tampered_with_is_refused(text):
    with pytest.raises(ValueError, match="did not arrive whole"):
        Sheet.unpack(text)


TITLED = (
    "Our hens 2024{0}\n\nkept by us both\nHen;When;kg\n\nDill;03/04/2024;2,1\nMace;4/4/2024;2,05\n"
)


@pytest.mark.parametrize("rest", ["", ";;"])
def test_titles_and_empty_rows_above_the_names_are_left_out(rest):
    sheet = read_text(TITLED.format(rest))
    assert sheet.header == ("Hen", "When", "kg")
    assert sheet.above[0].startswith("Our hens 2024") and sheet.above[-1] == "kept by us both"
    assert [(number, cells[2]) for number, cells in sheet.rows] == [(6, "2,1"), (7, "2,05")]


def test_a_table_without_a_title_loses_none_of_its_rows():
    for text in ("Hen\nDill\nMace\n", "Hen;g\nDill;\nMace;1900\n", "Hen;a;b;c\nDill;;;\nMace;;;\n"):
        sheet = read_text(text)
        assert sheet.header[0] == "Hen" and len(sheet.rows) == 2 and not sheet.above


def test_a_cell_is_refused_rather_than_cut(cast, birds):
    text = f"hen,date,kind,note\nDill,2024-04-03,soaked,{'x' * 4001}\n"
    table = Table(cast, "care", text).tell({})
    assert "there is room for 4000" in table.text and not CareStep.objects.exists()


def _sheet_xml(workbook: bytes, change) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as book, zipfile.ZipFile(out, "w") as changed:
        for name in book.namelist():
            data = book.read(name)
            changed.writestr(name, change(data) if name.endswith("sheet2.xml") else data)
    return out.getvalue()


def test_rows_far_down_a_workbook_are_read():
    rows = [["Hen", "g"], *[[]] * 7000, ["Dill", 2100]]
    assert [number for number, _ in read_sheet(_workbook(rows)).rows] == [7002]


def test_a_workbook_that_says_it_is_very_wide_fills_no_memory():
    """ECMA-376 (Office Open XML, from memory): dimension ref, and r of each row and cell."""
    book = _workbook([["Hen", "g"], *[["Dill", 2100]] * 3000])
    wide = _sheet_xml(book, lambda xml: re.sub(rb'ref="[A-Z0-9:]+"', b'ref="A1:XFD3001"', xml))
    assert wide != book
    assert peak_mb(lambda: read_sheet(wide)) < 30
    assert len(read_sheet(wide).rows) == 3000


def test_a_workbook_that_hides_how_much_it_unpacks_to_fills_no_memory(tmp_path):
    path = with_a_short_lie(tmp_path / "in.xlsx", 64 * 2**20, name="[Content_Types].xml")

    def refuse():
        with pytest.raises(ValueError, match="damaged"):
            read_sheet(path.read_bytes())

    assert peak_mb(refuse) < 5


# --- Values


@pytest.mark.parametrize(
    ("text", "order", "iso"),
    [
        ("14/05/2023", "day", "2023-05-14"),
        ("05/14/2023", "month", "2023-05-14"),
        ("3.4.23", "day", "2023-04-03"),
        ("3.4.23", "month", "2023-03-04"),
        ("1-2-99", "day", "1999-02-01"),
        ("2023-05-14", "", "2023-05-14"),
        ("2023/5/4", "", "2023-05-04"),
        ("14 May 2023", "", "2023-05-14"),
        ("May 14th, 2023", "", "2023-05-14"),
        ("14-May-23", "", "2023-05-14"),
        ("May 2023", "", "2023-05"),
        ("04/2021", "", "2021-04"),
        ("4.2021", "", "2021-04"),
        ("3. 4. 2023", "day", "2023-04-03"),
        ("2023", "", "2023"),
        # Months as the Unicode locale data has them, from memory.
        ("3. März 2024", "", "2024-03-03"),
        ("3 Mrz 2024", "", "2024-03-03"),
        ("Dez 2023", "", "2023-12"),
        ("1er août 2023", "", "2023-08-01"),
        ("27 d’août 2023", "", "2023-08-27"),
        ("janv. 2024", "", "2024-01"),
        ("12 de mayo de 2024", "", "2024-05-12"),
        ("5 Maart 2024", "", "2024-03-05"),
        ("2 giugno 2024", "", "2024-06-02"),
        ("15-juil-23", "", "2023-07-15"),
        # As some computers write it: the letter and its accent apart.
        ("3. Ma\u0308rz 2024", "", "2024-03-03"),
    ],
)
def test_dates_are_read(text, order, iso):
    assert read_date(text, order) == (iso, "")


@pytest.mark.parametrize(
    ("text", "order", "words"),
    [
        ("03/04/2023", "", "begins with the day or with the month"),
        ("14/05/2023", "month", "no such date"),
        ("3 jui 2023", "", "is not a date"),
        ("3 ma 2023", "", "is not a date"),
        ("31/02/2023", "day", "no such date"),
        ("spring", "day", "not a date"),
        ("Oct 24", "day", "a day or a year"),
        ("mai 24", "day", "a day or a year"),
        ("2023-13", "", "no such month"),
        ("13/2023", "", "no such month"),
    ],
)
def test_dates_that_cannot_be_read_say_why(text, order, words):
    with pytest.raises(ValueError, match=words):
        read_date(text, order)


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        (["03/04/2023", "14/04/2023"], ("day", True)),
        (["03/04/2023", "04/14/2023"], ("month", True)),
        (["03/04/2023", "05/05/2023"], ("", True)),
        (["14/04/2023", "04/14/2023"], ("", True)),
        (["2023-04-03", "4 May 2023"], ("", False)),
    ],
)
def test_the_order_of_day_and_month_is_told_by_the_dates_or_not_at_all(texts, told):
    assert date_order(texts) == told


def test_a_year_of_two_figures_may_be_one_ahead_where_something_is_due():
    this_year = dt.datetime.now(tz=dt.UTC).year
    for year in (this_year - 80, this_year, this_year + 1):
        assert read_date(f"3.4.{year % 100:02}", "day") == (f"{year}-04-03", "")


def test_numbers_and_times_as_people_write_them():
    texts = ("2,1 mm", "2.1", ",5", "1 200", "1\xa0200", "1'200", "-3", "0,35 cm")
    read = ("2.1", "2.1", "0.5", "1200", "1200", "1200", "-3", "3.5")
    assert [read_number(text, "mm") for text in texts] == [Decimal(number) for number in read]
    with pytest.raises(ValueError, match="without a comma between thousands"):
        read_number("2,100", "mm")
    with pytest.raises(ValueError, match="“2 kg” is not a number of mm"):
        read_number("2 kg", "mm")
    # The last would be a number of a billion figures.
    for text in ("", "a", "1 hen", "NaN", "1.2.3", "1_000", "1e5", "1e999999999"):
        with pytest.raises(ValueError, match="is not a number"):
            read_number(text, "mm")
    clocks = ("4:05 pm", "16.05", "9 am", "12:30 am", "16:05:00")
    assert [read_time(t) for t in clocks] == ["16:05", "16:05", "09:00", "00:30", "16:05"]
    for text in ("25:00", "16", "noon"):
        with pytest.raises(ValueError, match="not a time of day"):
            read_time(text)


@pytest.mark.parametrize(
    ("text", "unit", "grams"),
    [
        ("2100", "g", 2100),
        ("2.100", "g", 2100),  # no hen weighs two grams
        ("2,100", "g", 2100),
        ("2 100", "g", 2100),
        ("2,100", "kg", 2100),  # and none two tonnes
        ("2.1", "kg", 2100),
        ("0,950", "kg", 950),
        # What stands in the cell goes before what the column is said to be.
        ("2,1 kg", "g", 2100),
        ("950 g", "kg", 950),
        # 1 lb = 453.59237 g, 16 oz = 1 lb (international avoirdupois pound).
        ("4.63", "lb", 2100),
        ("74 oz", "kg", 2098),
    ],
)
def test_weights_as_people_write_them(text, unit, grams):
    assert read_weight(text, unit) == grams


def test_ounces_with_three_figures_behind_a_point_are_asked_about():
    with pytest.raises(ValueError, match="between thousands"):
        read_weight("1.200", "oz")


def test_columns_are_proposed_by_name_and_by_what_they_hold():
    text = "Hen name,Checked,L/R,Severity,Remarks\nDill,2024-01-05,L,mild,limps\n"
    names = ["bird", "date", "foot", "score", "note"]
    assert suggest("checks", read_text(text), {"dill"}) == names
    bare = "a,b,c\nDill,2024-01-05,R\nMace,2024-01-06,L\n"
    assert suggest("checks", read_text(bare), {"dill", "mace"}) == ["bird", "date", "foot"]
    for left, right in (("links", "rechts"), ("gauche", "droite"), ("Left foot", "Right foot")):
        both = read_text(f"Huhn,Datum,{left},{right}\nDill,2024-01-05,0,1\n")
        names = ["bird", "date", "left_score", "right_score"]
        assert suggest("checks", both, {"dill"}) == names


def test_a_column_named_in_two_languages_is_proposed():
    text = "Datum (Tag),Henne/Hen,left/links,rechts (right),Gewicht\nOkt 2023,Dill,1,0,x\n"
    names = ["date", "bird", "left_score", "right_score", ""]
    assert suggest("checks", read_text(text), {"dill"}) == names
    # Whose parts name two things is none of them.
    text = "Hen,Date,left/right\nDill,2024-01-05,1\n"
    assert suggest("checks", read_text(text), {"dill"})[2] != "left_score"
    assert proposal(targets("care")["foot"].column, "L + R") == "both"


def test_a_year_about_which_one_is_not_sure_is_read_where_a_year_is_enough():
    for text, year in (
        *(("ca. 2020", "2020"), ("about 2019", "2019"), ("~2021", "2021")),
        *(("Frühjahr 2022", "2022"), ("autumn 2023", "2023"), ("été 2020", "2020")),
        *(("2020", ""), ("spring", ""), ("cart 2020", "")),
    ):
        assert read_roughly(text) == year, text


# --- The pages, as plain forms


def _hidden(page: str) -> dict:
    """What a browser would send back from the page: every field as it stands."""
    import html.parser

    class Fields(html.parser.HTMLParser):
        def __init__(self):
            super().__init__()
            self.found, self.select = {}, None

        def handle_starttag(self, tag, attrs):
            attrs = dict(attrs)
            if tag == "select":
                self.select = attrs["name"]
            elif tag == "option" and self.select:
                if "selected" in attrs or self.select not in self.found:
                    self.found[self.select] = attrs["value"]
            elif tag == "input" and attrs.get("type") == "radio":
                if "checked" in attrs:
                    self.found[attrs["name"]] = attrs["value"]
            elif tag == "input" and attrs.get("type") == "hidden":
                self.found[attrs["name"]] = attrs["value"]

        def handle_endtag(self, tag):
            if tag == "select":
                self.select = None

    parser = Fields()
    parser.feed(page)
    return parser.found


class Table:
    """One keeper with one table, from page to page."""

    def __init__(self, cast, table: str, text: str | bytes, client=None):
        self.client, self.address = client or cast.clients.keeper, _page(cast)
        if isinstance(text, str):
            answer = self.client.post(self.address, {"table": table, "pasted": text})
        else:
            file = SimpleUploadedFile("hens.xlsx", text)
            answer = self.client.post(self.address, {"table": table, "file": file})
        self._see(answer)

    def _see(self, answer):
        self.answer, page = answer, answer.content.decode()
        self.text = " ".join(page.split())
        self.fields = _hidden(page) if answer.status_code != 302 else {}

    def post(self, **fields):
        self._see(self.client.post(self.address, {**self.fields, **fields}))
        return self

    def tell(self, told: dict):
        return self.post(**told, look="1")


def test_who_may_bring_a_table_in(cast):
    assert seen(cast, _page(cast)) == FORM_PAGE
    assert refused(cast, _page(cast)) == {"viewer": 403, "stranger": 404, "anonymous": 302}


def test_birds_with_other_columns_are_taken_in(cast):
    text = "Name;Leg ring;Race;Born;Gender\nDill;green 12;Sussex;04/2021;f\nMace;;;2020;m\n"
    table = Table(cast, "birds", text)
    assert table.answer.status_code == 200 and not Bird.objects.exists()
    table.tell({}).post(take="all")
    assert table.answer.status_code == 302
    dill, mace = Bird.objects.order_by("name")
    assert (dill.band, dill.breed.name, dill.hatched, dill.sex) == (
        *("green 12", "Sussex", "2021-04", "hen"),
    )
    assert (mace.sex, mace.hatched) == ("cock", "2020")


def test_odd_rows_of_a_list_of_birds(cast):
    text = "Name,Hatched,Notes\nDill,Frühjahr 2022,tame\nMace,ca. 2020,\nTotal: 2,,\nAnzahl,2,\n"
    table = Table(cast, "birds", text)
    assert "“Total: 2” seems to be a total, not a bird." in table.text
    table.post(take="good")
    dill, mace = Bird.objects.order_by("name")
    assert (dill.hatched, mace.hatched) == ("2022", "2020")
    assert (dill.traits, mace.traits) == ("tame\nHatched: Frühjahr 2022", "Hatched: ca. 2020")


def test_a_bird_that_left_for_no_told_reason_comes_in(cast):
    text = "Name,Gone,Reason\nDill,15.08.24,\nMace,1.9.24,fox\nClove,,\n"
    table = Table(cast, "birds", text).tell({"order": "day"})
    assert "1 bird left, and the table does not say why: “other” is entered." in table.text
    table.post(take="all")
    reasons = dict(Bird.objects.values_list("name", "left_reason"))
    assert reasons == {"Dill": "other", "Mace": "predator", "Clove": ""}


def test_what_was_changed_after_the_preview_is_previewed_before_it_is_taken_in(cast, birds):
    text = "Hen,Date,a,b\nDill,2023-04-14,1,0\nMace,2023-04-14,many,odd\n"
    table = Table(cast, "checks", text)
    assert "Import 2 rows" in table.text
    table.post(**{"column-2": "left_score", "column-3": "right_score"}, take="all")
    assert table.answer.status_code == 422 and not Check.objects.exists()
    assert "Nothing is imported yet" in table.text
    assert "Import only the 1 good row" in table.text
    table.post(take="good")
    assert table.answer.status_code == 302 and Check.objects.count() == 1


def test_day_and_month_are_asked_and_never_guessed(cast, birds):
    text = "Hen,Date,g\nDill,03/04/2023,2100\nMace,05/06/2023,1900\n"
    table = Table(cast, "weights", text)
    assert "can be read both ways" in table.text
    table.post(take="all")
    assert "Say whether the dates begin with the day or with the month" in table.text
    assert not Weighing.objects.exists()
    table.tell({"order": "month"})
    assert "2023-03-04" in table.text
    table.post(take="all")
    assert sorted(Weighing.objects.values_list("on", flat=True)) == [
        *(dt.date(2023, 3, 4), dt.date(2023, 5, 6)),
    ]


def test_dates_that_contradict_each_other_are_asked_about_and_named(cast, birds):
    text = "Hen,Date,g\nDill,14/04/2023,2100\nMace,04/14/2023,1900\n"
    table = Table(cast, "weights", text).tell({"order": "day"})
    assert "There is no such date as “04/14/2023”" in table.text
    table.post(take="all")
    assert not Weighing.objects.exists(), "all or nothing"
    table.post(take="good")
    assert Weighing.objects.get().bird == birds["Dill"]


def test_weights_in_other_units(cast, birds):
    text = "Hen,Day,lbs\nDill,2023-04-03,4.63\n"
    Table(cast, "weights", text).tell({}).post(take="all")
    # 1 lb = 453.59237 g (international avoirdupois pound).
    assert Weighing.objects.get().grams == 2100


def test_a_row_for_each_foot_becomes_one_check(cast, birds):
    text = (
        "hen,date,foot,how bad,scab,notes\n"
        "Dill,2023-04-03,L,slight,black,left one\nDill,2023-04-03,R,none,,right one\n"
        "green 7,2023-05-03,both,ok,,\n"
    )
    table = Table(cast, "checks", text)
    table.tell({"column-3": "score"})
    # Proposed, and still to be seen: the words of the table and what they are taken for.
    assert table.fields["word-score-slight"] == "1" and table.fields["word-foot-l"] == "left"
    table.tell({"word-score-slight": "2"}).post(take="all")
    assert table.answer.status_code == 302, table.text
    first, second = Check.objects.order_by("at")
    found = {f.foot: (f.score, f.scab) for f in first.findings.all()}
    assert found == {"left": (2, "black"), "right": (0, "")}
    assert first.note == "left one\nright one"
    assert second.bird == birds["Dill"], "known by her band"
    assert [f.score for f in second.findings.all()] == [0, 0]


def test_the_scores_of_both_feet_are_read_from_one_cell(cast, birds):
    text = "hen,date,feet\nDill,2023-04-03,0/2\nDill,2023-04-10,L1 R0\nDill,2023-04-17,- / 1\n"
    table = Table(cast, "checks", text)
    assert table.fields["column-2"] == "scores", "by what is in it"
    table.post(take="all")
    assert table.answer.status_code == 302, table.text
    told = [
        {finding.foot: finding.score for finding in check.findings.all()}
        for check in Check.objects.order_by("at")
    ]
    assert told == [{"left": 0, "right": 2}, {"left": 1, "right": 0}, {"right": 1}]


def test_a_cell_that_is_not_two_scores_says_how_to_write_them(cast, birds):
    text = "hen,date,score\nDill,2023-04-03,0/2\nDill,2023-04-10,0/9\n"
    table = Table(cast, "checks", text)
    table.tell({"column-2": "scores"})
    assert "“0/9” is not two scores. Write the left foot first, as in 0/2." in table.text


def test_a_wrong_cell_of_one_foot_is_named_as_the_table_calls_it(cast, birds):
    text = "hen,date,L/R,score,Scab mm\nDill,2023-04-03,L,1,99\n"
    assert "<td>Scab mm</td>" in Table(cast, "checks", text).text
    text = "hen,date,L/R,score,Scab mm\nDill,2023-04-03,L,1,8\n"
    assert "<td>scab</td><td>Say whether the scab" in Table(cast, "checks", text).text


def test_rows_of_two_feet_that_say_more_lose_nothing_of_it(cast, birds):
    text = (
        "hen,date,foot,score,gait,by\n"
        "Dill,2023-04-03,L,1,,Ros\nDill,2023-04-03,R,0,2,\n"  # what one leaves open
        "Mace,2023-04-03,L,1,1,Ros\nMace,2023-04-03,R,0,2,Ted\n"  # what contradicts
    )
    Table(cast, "checks", text).tell({}).post(take="all")
    told = [
        (c.bird.name, c.gait, c.keeper_name) for c in Check.objects.order_by("bird__name", "gait")
    ]
    assert told == [("Dill", 2, "Ros"), ("Mace", 1, "Ros"), ("Mace", 2, "Ted")]


def test_midnight_beside_a_date_is_no_time_of_day(cast, birds):
    text = "hen,date,kind\nDill,4/23/2023 12:00:00 AM,bath\nMace,4/23/2023 0:00,bath\n"
    Table(cast, "care", text).tell({}).post(take="all")
    # Noon stands for an unknown time; London is an hour ahead of UTC in April.
    assert {step.at.hour for step in CareStep.objects.all()} == {11}


def test_a_weight_that_can_be_no_grams_is_asked_about(cast, birds):
    table = Table(cast, "weights", "hen,date,weight\nDill,2023-04-03,2.1\n")
    assert table.fields["column-2"] == ""
    table.post(take="all")
    assert "Choose the column with the weight" in table.text
    for cell in ("2100", "2.1 kg"):
        table = Table(cast, "weights", f"hen,date,weight\nDill,2023-04-03,{cell}\n")
        assert table.fields["column-2"] == "grams"


def test_what_stood_above_the_names_is_shown_as_left_out(cast, birds):
    page = Table(cast, "weights", TITLED.format(";;")).text
    assert "“Our hens 2024”" in page and "Left out above the column names" in page


def test_a_file_that_is_much_too_large_is_not_read_whole():
    class Endless:
        def read(self, size=-1):
            assert 0 < size <= 10 * 2**20 + 1
            return b"x" * size

    with pytest.raises(ValueError, match="larger than 10 MB"):
        sheet_of({"file": Endless(), "pasted": ""})


def test_a_word_nobody_explained_keeps_its_rows_out(cast, birds):
    text = "hen,date,left,right\nDill,2023-04-03,meh,0\nMace,2023-04-03,1,0\n"
    table = Table(cast, "checks", text).tell({})
    assert "Say above what “meh” means" in table.text and not Check.objects.exists()
    table.tell({"word-left_score-meh": "1"}).post(take="all")
    assert sorted(FootFinding.objects.filter(foot="left").values_list("score", flat=True)) == [1, 1]


def test_a_word_is_explained_once_whatever_its_capitals(cast, birds):
    text = "hen,date,left\nDill,2023-04-03,Meh\nMace,2023-04-03,meh\nSorrel,2023-04-03,-\n"
    table = Table(cast, "checks", text)
    # A dash may say that nobody looked: it is not proposed to be a clear foot.
    words = {name for name in table.fields if name.startswith("word-")}
    assert words == {"word-left_score-meh", "word-left_score--"}
    assert table.fields["word-left_score--"] == ""
    table.tell({"word-left_score-meh": "1", "word-left_score--": "-"}).post(take="all")
    assert list(FootFinding.objects.values_list("score", flat=True)) == [1, 1]


def test_what_is_still_to_say_and_what_is_left_out_is_told_at_the_first_look(cast, birds):
    rows = ("Dill;3.4.23;2,1 kg;Regen", "green 7;13.4.23;2,2 kg;", "Dild;14.4.23;2,2 kg;")
    table = Table(cast, "weights", "\n".join(("Wer;Wann;Gewicht;Wetter", *rows)))
    assert "Choose the column with the weight" in table.text
    assert (table.fields["column-0"], table.fields["column-1"]) == ("bird", "date")
    assert "“13.4.23” can only begin with the day" in table.text
    table.tell({"column-2": "kilograms"})
    assert "Left out: Wetter." in table.text


def test_a_bird_by_another_name_can_be_told(cast, birds):
    text = "hen,date,g\nDilly,2023-04-03,2100\nNobody,2023-04-03,2000\n"
    table = Table(cast, "weights", text).tell({"word-bird-dilly": "Dill"})
    assert "No bird is called “Nobody” here" in table.text
    table.post(take="good")
    assert Weighing.objects.get().bird == birds["Dill"]


def test_birds_that_are_there_already_are_recognised(cast, birds):
    text = "hen,band\nDILL,green 7\nSalt,green 7\nPepper,\n"
    table = Table(cast, "birds", text).tell({})
    assert "Dill wears the band “green 7” already" in table.text
    assert "1 of them is on record already" in table.text
    table.post(take="good")
    assert sorted(Bird.objects.values_list("name", flat=True)) == [
        *("Dill", "Mace", "Pepper", "Sorrel"),
    ]


def test_care_in_their_own_words_and_with_times_in_the_date(cast, birds):
    text = (
        "hen;when;side;treatment;with\n"
        "Dill;03.04.2023 17:30;r;bath;Epsom salt\nMace;13.04.2023 8:05;l;bandage;\n"
    )
    table = Table(cast, "care", text)
    assert table.fields["word-kind-bath"] == "soaked"
    table.tell({}).post(take="all")
    soaked, dressed = CareStep.objects.order_by("at")
    assert (soaked.kind, soaked.foot, soaked.product) == ("soaked", "right", "Epsom salt")
    # London is an hour ahead of UTC in April (IANA time zone database).
    assert soaked.at == dt.datetime(2023, 4, 3, 16, 30, tzinfo=dt.UTC)
    assert (dressed.kind, dressed.foot) == ("dressing on", "left")


@pytest.mark.parametrize("word", ["vaccinated", "Vaccination", "vaccine", "jab"])
def test_a_vaccination_in_their_own_words(cast, birds, word):
    table = Table(cast, "care", f"hen,date,treatment\nDill,2023-04-03,{word}\n")
    table.tell({}).post(take="all")
    assert CareStep.objects.get().kind == "vaccine"


def test_a_wormer_is_a_medicine_and_its_word_is_kept(cast, birds):
    table = Table(cast, "care", "hen,date,treatment\nDill,2023-04-03,wormer\n")
    table.tell({}).post(take="all")
    given = CareStep.objects.get()
    assert given.kind == "medicine" and "wormer" in (given.product + given.note)


def test_old_care_asks_for_nothing_today(cast, birds):
    """A notebook of past treatments withdraws no eggs and makes nothing late."""
    now = timezone.now()
    near, far = ((now - dt.timedelta(days)).date() for days in (LONG_PAST_DAYS, LONG_PAST_DAYS + 2))
    text = (
        "hen,date,treatment,next due\n"
        f"Dill,{far},medicine,{far}\nMace,{far},dressing on,\nSorrel,{near},medicine,{near}\n"
    )
    table = Table(cast, "care", text).tell({})
    assert "2 rows are too old for care still due or an egg withdrawal" in table.text
    table.post(take="all")
    assert [hold.bird.name for hold in open_holds(cast.flock, now=now)] == ["Sorrel"]
    assert open_dues(cast.flock, now=now) == []
    # The same table again adds nothing.
    Table(cast, "care", text).tell({}).post(take="all")
    assert CareStep.objects.count() == 3


def test_what_may_still_be_due_or_withdraw_eggs_is_never_taken_as_past(cast, birds):
    def ago(days):
        return timezone.localdate() - dt.timedelta(days)

    rows = [
        # Over: the days of both have been told and have gone by.
        ("Dill", ago(30), "medicine", "", 7, 7),
        # Still running, and not told of the meat.
        ("Mace", ago(30), "medicine", "", 40, 7),
        ("Sorrel", ago(30), "ointment", "", 0, ""),
        # Due ten days ago: late, but not forgotten.
        ("Dill", ago(20), "medicine", ago(10), 7, 7),
    ]
    lines = [",".join(map(str, (*row, "label"))) for row in rows]
    text = "\n".join(["hen,date,treatment,next due,egg days,meat days,days from", *lines])
    table = Table(cast, "care", text).tell({})
    assert "1 row is too old for" in table.text
    table.tell({"past": "no"}).post(take="all")
    assert not CareStep.objects.filter(past=True).exists()
    CareStep.objects.all().delete()
    Table(cast, "care", text).tell({}).post(take="all")
    assert [step.at.date() for step in CareStep.objects.filter(past=True)] == [ago(30)]
    assert CareStep.objects.get(past=True).bird == birds["Dill"]


def test_a_word_with_no_value_of_its_own_is_kept(cast, birds):
    text = (
        "Huhn;Datum;Fuß;Behandlung;Bemerkung\n"
        "Dill;3. März 2024;links;Blauspray;nass\nMace;Dez 2023;beide;Salbe;\n"
    )
    table = Table(cast, "care", text)
    columns = [table.fields[f"column-{at}"] for at in range(5)]
    assert columns == ["bird", "date", "foot", "kind", "note"]
    assert table.fields["word-foot-links"] == "left" and table.fields["word-foot-beide"] == "both"
    table.tell({"word-kind-blauspray": "ointment", "word-kind-salbe": "ointment"})
    assert "1 row names only a month, taken as the 15th" in table.text
    table.post(take="all")
    told = CareStep.objects.order_by("-at", "foot").values_list(
        "bird__name", "foot", "product", "note"
    )
    month = "The day is not known, only “Dez 2023”: 2023-12-15 stands for it."
    assert list(told) == [
        ("Dill", "left", "Blauspray", "nass"),
        ("Mace", "left", "Salbe", month),
        ("Mace", "right", "Salbe", month),
    ]
    assert {step.at.date() for step in CareStep.objects.filter(bird=birds["Mace"])} == {
        dt.date(2023, 12, 15)
    }


def test_a_refused_row_is_not_counted_among_those_of_a_month(cast, birds):
    text = "hen,date,left,right\nDill,Okt 2023,0,0\nMace,Nov 2023,0,many\n"
    assert "1 row names only a month" in Table(cast, "checks", text).text


def test_a_month_that_is_not_over_is_no_day_to_come(cast, birds):
    today = timezone.localdate()
    table = Table(cast, "checks", f"hen,date,left,right\nDill,{today:%Y-%m},0,0\n")
    table.tell({}).post(take="all")
    assert Check.objects.get().at.date() == min(today, today.replace(day=15))


def test_a_word_that_is_left_empty_goes_into_the_note_but_a_dash_does_not(cast, birds):
    text = "hen,date,left,gait,note\nDill,2023-04-03,1,waddles,wet\nMace,2023-04-03,1,-,\n"
    table = Table(cast, "checks", text)
    table.tell({"word-gait-waddles": "-", "word-gait--": "-"}).post(take="all")
    notes = dict(Check.objects.values_list("bird__name", "note"))
    assert notes == {"Dill": "wet\ngait: waddles", "Mace": ""}


def test_a_weight_of_a_month_is_refused_since_it_has_no_note(cast, birds):
    table = Table(cast, "weights", "hen,date,g\nDill,2023-04,2100\n").tell({})
    assert "the day is missing" in table.text


def test_each_column_stands_with_its_choice_and_some_of_what_it_holds(cast, birds):
    """Side by side as far as they fit, so that no table is wider than the screen."""
    table = Table(cast, "weights", "hen,date,g\nDill,2023-04-03,2100\nMace,2023-04-03,\n")
    part = table.text.partition('<div class="columns">')[2].partition("<h2>")[0]
    columns = re.findall(r'<label for="column-\d">(\w+)</label>.*?</select>(.*?)</div>', part)
    assert [(name, re.findall(r">([^<]+)</span>", held)) for name, held in columns] == [
        ("hen", ["Dill", "Mace"]),
        ("date", ["2023-04-03"]),
        ("g", ["2100"]),
    ]


def test_the_next_table_with_the_same_columns_is_read_as_the_last(cast, birds):
    text = "a;b;c;d\nDill;03/04/2023;l;meh\n"
    chosen = {"column-0": "bird", "column-1": "date", "column-2": "foot", "column-3": "score"}
    told = {**chosen, "order": "month", "word-score-meh": "1"}
    Table(cast, "checks", text).tell(chosen).tell(told).post(take="all")
    assert Check.objects.get().at.date() == dt.date(2023, 3, 4)
    again = Table(cast, "checks", "A;B;C;D\nMace;05/04/2023;r;Meh\n")
    assert "Read as the last table with these columns" in again.text
    again.post(take="all")
    assert Check.objects.get(bird=birds["Mace"]).at.date() == dt.date(2023, 5, 4)
    # What the dates themselves say goes before; another flock remembers nothing of it.
    day_first = Table(cast, "checks", "A;B;C;D\nMace;25/06/2023;r;meh\n")
    day_first.post(take="all")
    assert Check.objects.latest("at").at.date() == dt.date(2023, 6, 25)
    other = reverse("exchange:spreadsheet", args=[cast.elsewhere.pk])
    page = cast.clients.stranger.post(other, {"table": "checks", "pasted": text}).text
    assert "Read as the last" not in " ".join(page.split())


def test_refused_rows_come_as_a_file_to_correct_and_send_again(cast, birds):
    text = (
        "hen,date,foot,score,note\n"
        "Dill,2023-04-03,left,1,\nNobody,2023-04-03,left,1,=1+1\nNobody,2023-04-03,right,0,\n"
        "Mace,soon,left,1,\n"
    )
    table = Table(cast, "checks", text).tell({})
    assert "Download these 3 rows" in table.text
    answer = table.client.post(table.address, {**table.fields, "refused": "1"})
    assert "attachment" in answer.headers["Content-Disposition"] and not Check.objects.exists()
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert rows[0] == ["hen", "date", "foot", "score", "note", "Not imported because"]
    assert [row[0] for row in rows[1:]] == ["Nobody", "Nobody", "Mace"]
    assert rows[1][4] == "'=1+1", "no spreadsheet takes it for a formula"
    assert "No bird is called “Nobody” here" in rows[1][5] and "Goes with row 3" in rows[2][5]
    assert "date: “soon” is not a date" in rows[3][5]
    # Corrected and sent again: the reasons are no column, and nothing was changed on the way.
    mended = answer.content.replace(b"Nobody", b"Sorrel").replace(b"soon", b"2023-04-05")
    sheet = read_sheet(mended)
    assert sheet.header == ("hen", "date", "foot", "score", "note")
    assert sheet.rows[0][1][4] == "=1+1"


def test_nothing_chosen_is_lost_when_something_is_wrong(cast, birds):
    text = "a,b,c,d\nDill,03/04/2023,2100,fine\n"
    table = Table(cast, "weights", text)
    table.post(**{"column-0": "bird", "column-1": "date", "column-2": "", "take": "all"})
    assert "Choose the column with the weight" in table.text
    chosen = [table.fields[f"column-{n}"] for n in range(4)]
    assert chosen == ["bird", "date", "", ""]
    table.tell({"column-2": "grams", "order": "day"}).post(take="all")
    assert Weighing.objects.get().on == dt.date(2023, 4, 3)


def test_what_was_taken_in_can_be_taken_back_from_where_one_lands(cast, birds):
    table = Table(cast, "weights", "hen,date,g\nDill,2023-04-03,2100\n").tell({})
    table.post(take="all")
    page = cast.clients.keeper.get(table.answer.headers["Location"]).text
    back = re.search(r'<a href="([^"]+)">Undo this import</a>', page)[1]
    assert "Undo this import" in cast.clients.keeper.get(back).text
    cast.clients.keeper.post(back)
    assert not Weighing.objects.exists()
    # Nothing new, nothing to take back.
    Table(cast, "weights", "hen,date,g\nDill,2023-04-03,2100\n").tell({}).post(take="all")
    again = Table(cast, "weights", "hen,date,g\nDill,2023-04-03,2100\n").tell({})
    page = again.client.get(again.post(take="all").answer.headers["Location"]).text
    assert "Undo this" not in page and "Imported: nothing new." in page


def test_two_columns_cannot_be_the_same(cast, birds):
    table = Table(cast, "weights", "a,b,c\nDill,2023-04-03,2100\n")
    table.tell({"column-0": "bird", "column-1": "bird", "column-2": "grams"})
    assert "Choose one of them" in table.text and 'name="take"' not in table.text


def test_another_kind_of_table_can_be_chosen_later(cast, birds):
    table = Table(cast, "birds", "hen,date,g\nDill,2023-04-03,2100\n")
    table.tell({"table": "weights"})
    assert table.fields["column-2"] == "grams"
    table.post(take="all")
    assert Weighing.objects.get().grams == 2100


def test_a_workbook_goes_the_same_way(cast, birds):
    day = dt.datetime(2023, 4, 3)  # noqa: DTZ001
    table = Table(cast, "weights", _workbook([["Hen", "Day", "kg"], ["Dill", day, 2.1]]))
    table.tell({}).post(take="all")
    assert Weighing.objects.get().grams == 2100


def test_the_example_tables_come_in_as_their_page_says(cast):
    folder = Path(__file__).resolve().parents[2] / "fixtures" / "own-spreadsheet"

    def table(kind, name):
        return Table(cast, kind, (folder / name).read_bytes())

    table("birds", "hens.csv").tell({}).post(take="all")
    assert Bird.objects.get(name="Chicory").traits == "früher lahm"
    feet = table("checks", "feet.csv")
    assert "can be read both ways" in feet.text
    feet.tell({"order": "day", "column-3": "score"})
    assert "Say above what “meh” means" in feet.text and "“Burdok”" in feet.text
    feet.tell({"word-score-meh": "1", "word-bird-burdok": "Burdock"}).post(take="all")
    assert Check.objects.count() == 4 and FootFinding.objects.filter(score=1).count() == 2
    weights = table("weights", "weights.csv")
    assert "No hen weighs more than 9 kg" in weights.text
    weights.post(take="good")
    assert sorted(Weighing.objects.values_list("grams", flat=True)) == [3100, 3400]


def test_words_of_a_table_are_shown_as_text_only(cast):
    text = 'hen,"<b>date"\n"<script>x</script>",2023\n'
    page = Table(cast, "birds", text).text
    assert "<script>x" not in page and "<b>date" not in page


def test_a_file_that_cannot_be_read_says_so_on_the_form(cast):
    table = Table(cast, "weights", b"\xd0\xcf\x11\xe0 old")
    assert table.answer.status_code == 422 and "an old kind of workbook" in table.text
    answer = cast.clients.keeper.post(_page(cast), {"table": "birds"})
    assert "Choose a file, or paste the rows" in answer.content.decode()


def test_a_page_that_was_tampered_with_begins_anew(cast):
    fields = {"table": "birds", "packed": "x"}
    answer = cast.clients.keeper.post(_page(cast), fields, follow=True)
    assert "did not arrive whole" in answer.content.decode()


def test_many_wrong_rows_are_all_found_and_few_are_shown(cast, birds):
    rows = "".join(f"Dill,2023-04-03,x{n}\n" for n in range(450)) + "Mace,2023-04-03,2100\n"
    table = Table(cast, "weights", f"hen,date,g\n{rows}").tell({})
    assert "And more." in table.text
    table.post(take="good")
    assert Weighing.objects.get().bird == birds["Mace"]
