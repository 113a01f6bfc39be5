"""`POST /v1/screenings`: the same answer as `mendworth screen --json`, from rows of JSON or from a file in a form.

Sources: RFC 9110 (statuses), RFC 7578 (forms), RFC 9457 (problem details).
"""

from __future__ import annotations

import csv
import io
import json
import re
import shlex
from doctest import ELLIPSIS, OutputChecker
from itertools import pairwise
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

from api import library, sheets
from api.answer import schema_of
from api.command import main
from api.findheads import COLUMNS
from api.http import create_app
from api.screening import UNKNOWN_WAY
from api.screenlist import ScreenedList
from api.screenoptions import FINDS_EXAMPLE, MOST_FINDS, FileSent, FindsSent, ScreeningLimits
from api.strictjson import MOST_BYTES

from .test_docs import ROOT
from .test_errors import assert_problem_body

FORM = "multipart/form-data"
HEAD = ["id", "machine_class", "title", "asking_price", "currency", "travel_km", "travel_minutes", "age_years",
        "complaints", "seen_on", "new_price", "running"]  # fmt: skip
GOOD = [
    ["a", "mower_walk_behind", "push mower (invented)", 0, "USD", 10.5, 20, 4, "will_not_start", "2026-04-01", None,
     None],
    ["b", "leaf_blower", "leaf blower (invented)", 500, "USD", 1.234, 20, 4, None, "2026-04-01", None, None],
]  # fmt: skip
# One with two cells at fault, and one whose figures contradict each other, which is seen once it is screened.
ODD = [
    ["c", "lef_blower", "odd (invented)", 5, "USD", 1.5, 1, 400, None, "2026-04-01", None, None],
    ["d", "leaf_blower", "odd too (invented)", 5, "USD", 1.5, 1, 4, None, "2026-04-01", 100, 900],
]
LEAF = {"machine_class": "leaf_blower", "asking_price": 5}
SAID = {"currency": "USD", "as_of": "2026-04-01"}


@pytest.fixture(scope="module")
def client():
    return create_app().test_client()


def as_csv(lines):
    out = io.StringIO()
    csv.writer(out).writerows([HEAD, *lines])
    return out.getvalue().encode()


def as_xlsx(lines):
    book, out = openpyxl.Workbook(), io.BytesIO()
    for line in (HEAD, *lines):
        book.active.append(line)
    book.save(out)
    return out.getvalue()


def as_parquet(lines):
    return pd.DataFrame(lines, columns=HEAD).to_parquet()


WRITTEN = {"csv": as_csv, "xlsx": as_xlsx, "parquet": as_parquet}


def sent(client, body, name="finds.csv", **fields):
    return client.post("/v1/screenings", data={"finds": (io.BytesIO(body), name), **fields}, content_type=FORM)


def asked(client, **document):
    return client.post("/v1/screenings", data=json.dumps(document), content_type="application/json")


def told(response, status=422):
    return {p["path"]: p["value"] for p in assert_problem_body(response, status)["problems"]}


def remedies(response, status=422):
    return [p["remedy"] for p in assert_problem_body(response, status)["problems"]]


def printed(folder, body, *options):
    (folder / "list").write_bytes(body)
    done = CliRunner().invoke(main, ["screen", str(folder / "list"), "--json", *options])
    assert done.exit_code == 0, done.stderr
    return done.stdout_bytes


@pytest.mark.parametrize("kind", WRITTEN)
def test_a_file_is_answered_as_the_command_line_does(client, tmp_path, kind):
    """To the byte, rows at fault and all."""
    body = WRITTEN[kind]([*GOOD, *ODD])
    response = sent(client, body, f"finds.{kind}", hours="10", cash="200.00", exact="true", per_km="0.40")
    options = ("--hours", "10", "--cash", "200.00", "--exact", "--per-km", "0.40")
    assert response.status_code == 200
    assert response.data == printed(tmp_path, body, *options)
    answer = response.get_json()
    assert answer["limits"] == {"hours": 10.0, "cash": "200.00", "places": None, "km": None}
    assert [x["id"] for x in answer["finds"]] == ["a", "b"]


def counted_from_one(answer):
    """Return the answer to a file with its rows counted as objects are."""
    for x in (*answer["finds"], *answer["left_out_rows"]):
        x["row"] -= 1
    return answer


def test_rows_of_json_are_answered_as_the_same_list_is(client, tmp_path):
    body = as_csv([*GOOD, *ODD])
    finds = [dict(zip(HEAD, line, strict=True)) for line in (*GOOD, *ODD)]
    response = asked(client, finds=finds, limits={"hours": 10, "cash": "200.00", "places": 3, "km": 12.5})
    options = ("--hours", "10", "--cash", "200.00", "--places", "3", "--km", "12.5")
    assert response.get_json() == counted_from_one(json.loads(printed(tmp_path, body, *options)))
    as_text = [{k: "" if v is None else str(v) for k, v in row.items()} for row in finds]
    assert asked(client, finds=as_text).get_json()["finds"] == asked(client, finds=finds).get_json()["finds"]


def test_cash_is_an_amount_of_the_currency(client, tmp_path):
    """The field is named as it was sent."""
    finds = [{"id": "a", "machine_class": "leaf_blower", "asking_price": 5, "travel_km": 1}]
    (told,) = asked(client, finds=finds, limits={"cash": "12.505"}, currency="USD").get_json()["problems"]
    assert (told["path"], told["value"]) == ("limits.cash", "12.505")
    body = b"id,machine_class,asking_price,currency,travel_km\na,leaf_blower,5,USD,1\n"
    (told,) = sent(client, body, "finds.csv", cash="12.505").get_json()["problems"]
    assert (told["path"], told["value"]) == ("cash", "12.505")


def test_rows_at_fault_are_told_beside_their_count(client):
    finds = [dict(zip(HEAD, line, strict=True)) for line in (*ODD, *GOOD)]
    answer = asked(client, finds=finds).get_json()
    assert (answer["read"], answer["left_out"], len(answer["finds"])) == (4, 2, 2)
    first, second = answer["left_out_rows"]
    assert (first["row"], first["id"], second["row"], second["id"]) == (1, "c", 2, "d")
    assert [(p["field"], p["value"]) for p in first["problems"]] == [
        ("machine_class", '"lef_blower"'),
        ("age_years", '"400"'),
    ]
    assert first["problems"][0]["remedy"] == 'did you mean "leaf_blower"'
    (late,) = second["problems"]
    assert late["field"] == "running"
    assert late["rule"].startswith("a machine in hand can't sell for more than a new one costs"), "seen when screened"
    none = asked(client, finds=[{"machine_class": "x"}], **SAID)
    assert none.status_code == 200
    assert none.get_json()["headline"] == "No find could be screened: the one row is at fault."


def test_numbers_of_json_are_never_taken_for_thousands(client):
    """Though a column of text beside them has decimal commas, and though a program wrote them by powers of ten."""
    finds = [{**LEAF, "travel_km": x} for x in (1.234, "12,5", 1.5e1, 0.1 + 0.2)]
    answer = asked(client, finds=finds, **SAID).get_json()
    assert {x["row"]: x["km"] for x in answer["finds"]} == {1: 1.234, 2: 12.5, 3: 15.0, 4: 0.3}
    assert asked(client, finds=[{**LEAF, "asking_price": "1.234"}], **SAID).get_json()["left_out"] == 1
    body = b'{"finds": [{"machine_class": "leaf_blower", "asking_price": 1E2, "id": 12345678901234567890}, '
    body += b'{"machine_class": "leaf_blower", "asking_price": 1e-999999999}], "currency": "USD"}'
    answer = client.post("/v1/screenings", data=body, content_type="application/json").get_json()
    (find,) = answer["finds"]
    assert (find["id"], find["screened"]["asking_price"]) == ("12345678901234567890", "100.00")
    assert answer["left_out_rows"][0]["problems"][0]["value"] == '"1e-999999999"'


def test_what_holds_for_all_finds(client, tmp_path):
    common = {"terms": {"hour_worth": "90.00"}, "tools": {"owned": []}, "prices": {"spark_plug": "3.00"}}
    (tmp_path / "terms.json").write_text(json.dumps(common))
    body = as_csv(GOOD)
    said = printed(tmp_path, body, "--terms", str(tmp_path / "terms.json"))
    assert sent(client, body, common=json.dumps(common)).data == said
    finds = [dict(zip(HEAD, line, strict=True)) for line in GOOD]
    assert asked(client, finds=finds, common=common).get_json() == counted_from_one(json.loads(said))
    assert sent(client, body).data != said


def test_how_a_file_is_to_be_read(client, tmp_path):
    body = "class;list price;date;km\nleaf_blower;1.234;3/4/2026;2,5\nleaf_blower;2.345;3/4/2026;1 à\n".encode("cp1252")
    fields = {"map": ["list price=asking_price", "date=seen_on"], "decimal": "comma", "dates": "day"}
    fields |= {"encoding": "iso-8859-1", "currency": "USD"}
    options = [f"--{name}={x}" for name, said in fields.items() for x in ([said] if isinstance(said, str) else said)]
    response = sent(client, body, **fields)
    assert response.data == printed(tmp_path, body, *options)
    assert response.get_json()["finds"][0]["screened"]["asking_price"] == "1234.00"
    book, out = openpyxl.Workbook(), io.BytesIO()
    page = book.create_sheet("Second")
    for line in (HEAD, *GOOD):
        page.append(line)
    book.save(out)
    response = sent(client, out.getvalue(), "finds.xlsx", sheet="Second", as_of="2026-04-01")
    assert response.data == printed(tmp_path, out.getvalue(), "--sheet", "Second")


def test_overlays_and_the_price_book_of_the_service(tmp_path):
    shop, book = tmp_path / "shop.toml", tmp_path / "prices.db"
    head = '[overlay]\nid = "shop"\ntitle = "our own figures"\nsource = "invented"\n'
    shop.write_text(f'{head}[change.parts.carburettor_cleaner]\nprice = [90, 95, 99]\nsource = "invented"\n')
    imported = ["prices", "import", str(ROOT / "sample_prices/parts.csv"), "--book", str(book)]
    assert CliRunner().invoke(main, imported).exit_code == 0
    body = as_csv(GOOD)
    shelf = library.open_shelf([str(shop)])
    plain = sent(create_app().test_client(), body).data
    laid = sent(create_app(shelf).test_client(), body).data
    priced = sent(create_app(book=book).test_client(), body).data
    assert len({plain, laid, priced}) == 3
    assert laid == printed(tmp_path, body, "--overlay", str(shop))
    assert priced == printed(tmp_path, body, "--book", str(book))


def test_one_process_does_the_work(client, monkeypatch):
    """However many finds there are: a server is not swamped by one request."""
    monkeypatch.setattr("api.screening.ENOUGH", 1)
    monkeypatch.setattr("api.crew.ProcessPoolExecutor", None)
    assert asked(client, finds=[LEAF, LEAF], **SAID).status_code == 200


def test_what_is_wrong_with_a_document_all_at_once(client):
    document = {
        "finds": [{"machine_class": "leaf_blower", "agee": 1, "history.storag": "outdoors"}, {"agee": 2}],
        "currency": "usd",
        "as_of": "April",
        "per_km": 0.3,
        "curency": "USD",
        "a.b": 1,
        "limits": {"hours": "ten", "cash": 200, "places": 1.5, "km": -1, "hourz": 1},
        "common": {"terms": {"hour_wrth": "9"}, "prices": {"plug": "3.00"}, "find": {}},
        "exact": "yes",
    }
    response = asked(client, **document)
    assert told(response) == {
        "finds.0.agee": '"agee"', "finds.0.history.storag": '"history.storag"', "currency": '"usd"',
        "as_of": '"April"', "per_km": "0.3", "curency": '"USD"', "a.b": "1", "limits.hours": '"ten"',
        "limits.cash": "200", "limits.places": "1.5", "limits.km": "-1", "limits.hourz": "1",
        "common.terms.hour_wrth": '"9"', "common.prices.plug": '"plug"', "common.find": "{}", "exact": '"yes"',
    }  # fmt: skip
    by_path = {p["path"]: p["remedy"] for p in response.get_json()["problems"]}
    assert by_path["finds.0.agee"] == 'did you mean "age_years"'
    assert by_path["curency"] == 'did you mean "currency"'
    assert by_path["currency"] == 'did you mean "USD"'


@pytest.mark.parametrize(
    ("document", "paths"),
    [
        ({}, {"finds"}), ({"finds": None}, {"finds"}), ({"finds": []}, {"finds"}), ({"finds": {"a": [{}]}}, {"finds"}),
        ({"finds": [{}]}, {"finds"}), ({"finds": [{"title": "x"}]}, {"finds"}),
        ({"finds": [LEAF, 3, [LEAF]]}, {"finds.1", "finds.2"}),
        ({"finds": [{**LEAF, "complaints": ["a"], "history": {}}]}, {"finds.0.complaints", "finds.0.history"}),
        ({"finds": [LEAF], "rows": [LEAF], "hours": 3}, {"rows", "hours", "finds: currency"}),
        ({"finds": [LEAF, {**LEAF, "currency": "EUR"}], "currency": "USD"}, {"finds: currency"}),
        ({"finds": [{**LEAF, "seen_on": "3/4/2026"}], **SAID}, {"finds: seen_on"}),
        ({"finds": [LEAF], **SAID, "common": []}, {"common"}),
        ({"finds": [LEAF], **SAID, "common": {"price_revision": 1}}, {"common.price_revision"}),
        ({"finds": [{"machine_class": "x"}], **SAID, "common": {"prices": {"plug": "1"}}}, {"common.prices.plug"}),
        ({"finds": [LEAF], **SAID, "decimal": "comma"}, {"decimal"}),
    ],
)  # fmt: skip
def test_documents_that_can_not_be_used(client, document, paths):
    assert set(told(asked(client, **document))) == paths


def test_the_document_is_an_object(client):
    assert set(told(client.post("/v1/screenings", json=[LEAF]))) == {"document"}


def test_many_faults_are_told_in_part(client):
    response = asked(client, finds=[{"id": [1]} for _ in range(150)], **SAID)
    problems = assert_problem_body(response, 422)["problems"]
    assert (len(problems), problems[-1]["value"]) == (101, "50 more")


@pytest.mark.parametrize(
    ("fields", "body", "paths"),
    [
        ({"hours": "much", "places": "-1", "exact": "yes", "cash": "1e3"}, None, {"hours", "places", "exact", "cash"}),
        ({"colour": "red", "limits": "{}"}, None, {"colour", "limits"}),
        ({"common": "{"}, None, {"common"}), ({"common": "3"}, None, {"common"}),
        ({"hours": ["1", "2"], "currency": ["USD", "EUR"]}, None, {"hours", "currency"}),
        ({"encoding": "klingon"}, None, {"encoding"}), ({"sheet": "x"}, None, {"sheet"}),
        ({"map": ["price", "agee=age_yers"]}, None, {"map"}), ({"map": "nothing=note"}, None, {"map"}),
        ({"decimal": "dot", "dates": "year", "per_km": "-1"}, None, {"decimal", "dates", "per_km"}),
        ({}, b"", {"finds"}), ({}, b"a,b\n1,2\n", {"finds: row 1"}), ({}, b"PK\x03\x04rubbish", {"finds"}),
        ({}, b"PAR1rubbish", {"finds"}), ({}, b"machine_class,price\nleaf_blower,5\n", {"finds: currency"}),
        ({}, b"machine_class,price,currency\nleaf_blower,1.234,USD\n", {"finds: price"}),
        ({"hours": "x"}, b"machine_class,list price\nleaf_blower,1.234\n", {"hours", "finds: row 1, list price"}),
    ],
)  # fmt: skip
def test_forms_that_can_not_be_used(client, fields, body, paths):
    assert set(told(sent(client, as_csv(GOOD) if body is None else body, **fields))) == paths


def test_what_is_no_file_and_what_is_one_too_many(client):
    def form(**data):
        return client.post("/v1/screenings", data=data, content_type=FORM)

    def file():
        return io.BytesIO(as_csv(GOOD)), "finds.csv"

    assert told(form(finds="machine_class\nleaf_blower\n")) == {"finds": '"machine_class?leaf_blower?"'}
    assert told(form(hours="3")) == {"finds": "nothing"}
    assert told(form(finds=[file(), file()])) == {"finds": "2 of them"}
    assert told(form(finds=file(), find=file())) == {"find": "a file"}
    assert told(form(finds=file(), common=file())) == {"common": "a file"}


def test_remedies_name_fields_and_not_options_of_the_command_line(client):
    for response in (
        sent(client, b"machine_class,list price\nleaf_blower,1.234\n"),
        sent(client, b"machine_class,price\nleaf_blower,1.234\n", currency="USD"),
        sent(client, b"machine_class,date\nleaf_blower,3/4/2026\n", currency="USD"),
        sent(client, b"machine_class\nleaf_blower\n"),
        sent(client, b"a\x00b"),
        sent(client, as_xlsx([]), sheet="x"),
    ):
        assert "--" not in " ".join(remedies(response))
    row = b"machine_class,price,asking\nleaf_blower,5,\n"
    assert "map=" in remedies(sent(client, row, currency="USD"))[0]
    assert "dates=day or dates=month" in remedies(asked(client, finds=[{**LEAF, "seen_on": "3/4/2026"}], **SAID))[0]
    answer = sent(client, b"machine_class,price,agee\nleaf_blower,5 USD,1\nleaf_blower,5,2 \x80\n").get_json()
    assert len(answer["notes"]) == 3, "and that the way is not known"
    assert "--" not in json.dumps(answer)
    assert "currency" in answer["left_out_rows"][0]["problems"][0]["remedy"]


def test_how_many_finds_a_request_may_hold(client, monkeypatch):
    row = {"machine_class": "x"}  # at fault: quick
    full = asked(client, finds=[row] * MOST_FINDS, **SAID)
    assert (full.status_code, full.get_json()["left_out"]) == (200, MOST_FINDS)
    text = "machine_class,currency\n" + "x,USD\n" * MOST_FINDS
    assert sent(client, text.encode()).get_json()["left_out"] == MOST_FINDS
    assert sent(client, (text + ",\n" * MOST_FINDS).encode()).status_code == 200, "blank rows do not count"
    for response in (
        asked(client, finds=[row] * (MOST_FINDS + 1), **SAID),
        sent(client, (text + "x,USD\n").encode()),
        sent(client, (text + ",\n" * 21_000).encode()),
    ):
        (remedy,) = remedies(response, 413)
        assert "command line" in remedy
    many = {f"history.a{i}": "b" for i in range(sheets.MOST_COLUMNS + 1)}
    assert told(asked(client, finds=[many]), 413) == {"finds": "201 keys"}
    monkeypatch.setattr("api.sheets.SWOLLEN", 0.001)
    assert "unpacked" in told(sent(client, as_xlsx(GOOD), "finds.xlsx"), 413)["finds"]


@pytest.mark.parametrize("media_type", ["application/json", f"{FORM}; boundary=b"])
def test_how_large_a_request_may_be(client, media_type):
    response = client.post("/v1/screenings", data=b" " * (MOST_BYTES + 1), content_type=media_type)
    assert told(response, 413) == {"body": f"{MOST_BYTES + 1:,} bytes"}
    assert "command line" in remedies(response, 413)[0]
    head = b'--b\r\nContent-Disposition: form-data; name="common"\r\n\r\n'
    long = client.post("/v1/screenings", data=head + b"x" * 600_000, content_type=f"{FORM}; boundary=b")
    assert set(told(long, 413)) == {"body"}, "of text half a megabyte is the most"


@pytest.mark.parametrize(
    ("body", "media_type"),
    [
        (b"{", "application/json"), (b"", "application/json"), (b'{"finds": NaN}', "application/json"),
        (b'{"finds": [{"a": 1, "a": 2}]}', "application/json"), (b"x", FORM), (b"x", f"{FORM}; boundary=b"),
        (b'--b\r\nContent-Disposition: form-data; name="hours"\r\n\r\n3\r\n', f"{FORM}; boundary=b"),
        (b"--b\r\nContent-Disposition: form-data\r\n\r\n3\r\n--b--\r\n", f"{FORM}; boundary=b"),
    ],
)  # fmt: skip
def test_bodies_that_can_not_be_read(client, body, media_type):
    response = client.post("/v1/screenings", data=body, content_type=media_type)
    assert set(told(response, 400)) == {"body"}


@pytest.mark.parametrize("media_type", [None, "text/csv", "application/json; charset=latin-1", "multipart/mixed"])
def test_other_media_types(client, media_type):
    response = client.post("/v1/screenings", data=b"{}", content_type=media_type)
    assert set(told(response, 415)) == {"Content-Type"}
    assert response.headers["Accept-Post"] == f"application/json, {FORM}"
    assert client.get("/v1/screenings").status_code == 405


# What the description says


@pytest.fixture(scope="module")
def described(client):
    return client.get("/openapi.json").get_json()


def test_the_answer_and_the_example_are_as_described(client, described):
    def schema(name):
        return Draft202012Validator({"$ref": f"#/components/schemas/{name}", "components": described["components"]})

    operation = described["paths"]["/v1/screenings"]["post"]
    assert set(operation["requestBody"]["content"]) == {"application/json", FORM}
    assert operation["responses"]["200"]["content"]["application/json"]["schema"]["$ref"].endswith("ScreenedList")
    schema("Finds").validate(FINDS_EXAMPLE)
    finds = [dict(zip(HEAD, line, strict=True)) for line in (*GOOD, *ODD)]
    schema("Finds").validate({"finds": finds, "common": {"terms": {"hour_worth": "9.00"}}})
    schema("ScreenedList").validate(asked(client, finds=finds).get_json())
    for wrong in ({"finds": [{"agee": 1}]}, {"finds": []}, {"finds": [{"id": []}]}, {"finds": [LEAF], "hours": 1}):
        assert not schema("Finds").is_valid(wrong)
    assert set(described["components"]["schemas"]["FindsFile"]["properties"]) == set(FileSent.model_fields)


def test_every_column_is_one_of_a_row_and_is_read_as_itself(client):
    """In any row of JSON a column is called by its name, which no other column goes by."""
    finds = [dict.fromkeys(COLUMNS, "") | LEAF | {"history.storage": "outdoors"}]
    answer = asked(client, finds=finds, **SAID).get_json()
    assert (len(answer["finds"]), answer["notes"]) == (1, [UNKNOWN_WAY])


PAGE = (ROOT / "docs/screening.md").read_text(encoding="utf-8")


def named(table):
    rows = [row.partition(" | ")[0] for row in table.splitlines() if row.startswith("| `")]
    return {name for row in rows for name in re.findall(r"`(\w+)`", row)}


def test_what_is_sent_and_what_comes_back_is_documented():
    http = PAGE.partition("## Over HTTP")[2]
    sent_table, _, answer_table = http.partition("The answer holds")
    fields = {*FindsSent.model_fields, *FileSent.model_fields, *ScreeningLimits.model_fields}
    assert named(sent_table) == fields
    assert named(answer_table) == set(schema_of(ScreenedList)["properties"])
    assert f"{MOST_FINDS} rows" in http


def test_the_example_of_the_page(client):
    """A dozen finds of the sample through a pipe, as curl sends them."""
    block = re.search(r"^```console\n\$ (head [^\n]*curl [^\n]*)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    first, last = (shlex.split(x) for x in block[1].split(" | "))
    lines = (ROOT / Path(first[3])).read_text(encoding="utf-8").splitlines(keepends=True)[: int(first[2])]
    assert last[-1].endswith("/v1/screenings")
    data = dict(x.split("=", 1) for flag, x in pairwise(last) if flag == "-F")
    assert data["finds"] == "@-;filename=finds.csv"
    response = sent(client, "".join(lines).encode(), "finds.csv", **{k: v for k, v in data.items() if k != "finds"})
    assert OutputChecker().check_output(block[2], response.text, ELLIPSIS), response.text


def test_control_characters_and_half_a_character_are_told(client):
    answer = asked(client, finds=[{**LEAF, "title": "\x01=1", "id": "\x1b"}, LEAF], **SAID)
    assert (answer.status_code, answer.get_json()["left_out"], len(answer.get_json()["finds"])) == (200, 1, 1)
    assert [p["field"] for p in answer.get_json()["left_out_rows"][0]["problems"]] == ["title", "id"]
    half = asked(client, finds=[{**LEAF, "title": "\ud800"}], **SAID)
    assert "half of a surrogate pair" in told(half, 400).values()
