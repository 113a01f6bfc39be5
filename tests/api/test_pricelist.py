"""Price lists: odd files read right, and every bad row named with row, column, value and rule."""

from __future__ import annotations

import codecs
import io
import itertools
import zipfile
from datetime import date, datetime

import openpyxl
import pytest
from scipy import constants

from api.headers import COLUMNS, OF_SELLER, UNSURE, plain, read_map
from api.pricelist import FRAME, Told, read_prices
from api.sheets import MOST_BYTES, read_sheet
from econ.offers import STATUSES, Seller, Shipping
from econ.problems import BadInput

TODAY = date(2026, 6, 1)
WHOLE = Told(seller="Seller A", currency="USD", seen_on=date(2026, 5, 1))


def read(text, told=WHOLE, name="list.csv"):
    return read_prices(text if isinstance(text, bytes) else text.encode(), name, told, TODAY)


def refused(text, told=WHOLE):
    with pytest.raises(BadInput) as error:
        read(text, told)
    return [(p.path, p.value, p.rule, p.remedy) for p in error.value.problems]


def faults(listed):
    return [(p.path.removeprefix("list.csv: "), p.value) for p in listed.problems]


def column(listed, name):
    return listed.rows[name].tolist()


def workbook(*rows, title="Prices", more=()):
    book = openpyxl.Workbook()
    page = book.active
    page.title = title
    for row in rows:
        page.append(row)
    for other in more:
        book.create_sheet(other).append(["nothing here"])
    body = io.BytesIO()
    book.save(body)
    return body.getvalue()


def test_the_frame_has_its_columns_and_each_row_its_place():
    listed = read("part,price,title\nblade,19.99,blade with bolt\nbelt,5,\n")
    assert tuple(listed.rows.columns) == FRAME
    assert column(listed, "part") == ["blade", "belt"]
    assert column(listed, "price_minor") == [1999, 500]
    assert set(column(listed, "seller")) == {"Seller A"}
    assert set(column(listed, "seen_on")) == {"2026-05-01"}
    assert set(column(listed, "status")) == {"new"}
    assert column(listed, "pack") == [1, 1]
    assert listed.rows["weight_kg"].isna().all(), "unknown is not zero"
    assert (listed.read, listed.bad, listed.problems) == (2, 0, ())


@pytest.mark.parametrize(
    ("encoding", "mark", "noted"),
    [("utf-8", b"", False), ("utf-8", codecs.BOM_UTF8, False), ("utf-16-le", codecs.BOM_UTF16_LE, False),
     ("utf-16-be", codecs.BOM_UTF16_BE, False), ("windows-1252", b"", True)],
)  # fmt: skip
def test_encodings(encoding, mark, noted):
    listed = read(mark + "part,price,title\nplug,5.00,Zündkerze für 5 €\n".encode(encoding))
    assert column(listed, "title") == ["Zündkerze für 5 €"]
    assert any("Windows-1252" in n for n in listed.notes) == noted


def test_an_encoding_named_is_held_to():
    text = "part,price,title\nplug,5.00,5 €\n".encode("iso-8859-15")
    assert column(read(text, Told("A", "USD", TODAY, encoding="iso-8859-15")), "title") == ["5 €"]
    assert "this is no utf-8" in refused(text, Told("A", "USD", TODAY, encoding="utf-8"))[0][2]
    assert refused(text, Told("A", "USD", TODAY, encoding="klingon"))[0][0] == "--encoding"
    assert "NUL" in refused("part,price\nplug,5\n".encode("utf-16-le"))[0][1]


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_delimiters(sign):
    listed = read(f'part{sign}price{sign}title\nplug{sign}5.00{sign}"a{sign}b"\n')
    assert column(listed, "title") == [f"a{sign}b".replace("\t", " ")]


def test_rows_are_counted_as_a_spreadsheet_counts_them():
    """Blank lines and line breaks within a field included."""
    listed = read('A list\n\npart,price,title\nplug,5,"two\nlines"\n\n,,\nbelt,oops,x\n')
    assert column(listed, "title") == ["two lines"]
    assert faults(listed) == [("row 7, price", '"oops"')]
    assert listed.blank == 2


def test_every_fault_of_every_row_at_once():
    text = (
        "part,price,currency,pack,status,seen on,weight,lead time,returns,title\n"
        "ok,5.00,USD,1,new,2026-05-01,0.1,3,15 %,fine\n"
        ",-5.00,USD,0,broken,2026-13-01,heavy,900,15,t\n"
        "b,1.999,XYZ,1.5,,1985-01-01,2000,soon,120 %,\x07\n"
    )
    listed = read(text)
    assert column(listed, "part") == ["ok"]
    assert faults(listed) == [
        ("row 3, part", "nothing"), ("row 3, price", '"-5.00"'), ("row 3, pack", '"0"'), ("row 3, status", '"broken"'),
        ("row 3, seen on", '"2026-13-01"'), ("row 3, weight", '"heavy"'), ("row 3, lead time", '"900"'),
        ("row 3, returns", '"15"'),
        ("row 4, price", '"1.999"'), ("row 4, currency", '"XYZ"'), ("row 4, pack", '"1.5"'),
        ("row 4, seen on", '"1985-01-01"'), ("row 4, weight", '"2000"'), ("row 4, lead time", '"soon"'),
        ("row 4, returns", '"120 %"'), ("row 4, title", '"?"'),
    ]  # fmt: skip
    assert (listed.bad, listed.count) == (2, 16)
    assert all(p.rule and p.remedy for p in listed.problems)


@pytest.mark.parametrize(
    ("cells", "minor"),
    [
        (["12.50", "1,234.50"], [1250, 123450]),
        (["12,50", "1.234,50"], [1250, 123450]),
        (["12,50", "1.234"], [1250, 123400]),
        (["12.50", "1.2.3"], None),
        (["12.50", "12 34"], None),
        (["$12.50", "USD 3", "4 usd"], [1250, 300, 400]),
        (["1 234,5", "1'234.567,00"], None),
        (["1'234.50", "1’234.50", "1\u202f234.50"], [123450] * 3),
        (["12.-", "7.50"], [1200, 750]),
        (["1.2300", "2"], [123, 200]),
        ([".50", "2.25"], [50, 225]),
    ],
)
def test_decimal_signs(cells, minor):
    rows = "".join(f'p{i};"{cell}"\n' for i, cell in enumerate(cells))
    if minor is None:
        assert faults(read("part;price\n" + rows)) == [("row 3, price", f'"{cells[1]}"')]
    else:
        assert column(read("part;price\n" + rows), "price_minor") == minor


def test_a_column_that_does_not_tell_is_asked_about():
    text = "part;price\na;1.234\nb;2.500\n"
    (problem,) = refused(text)
    assert problem[0] == "list.csv: price"
    assert problem[1] == '"1.234" in row 2'
    assert "--decimal" in problem[3]
    told = {d: Told("A", "USD", TODAY, decimal=d) for d in ("comma", "point")}
    assert column(read(text, told["comma"]), "price_minor") == [123400, 250000]
    assert faults(read(text, told["point"])) == [("row 2, price", '"1.234"')], "a tenth of a cent"
    beside = read("part;price;weight\na;1.234;0.5\n", told["comma"])
    assert beside.rows["weight_kg"].tolist() == [0.5], "a column that tells is believed"
    (both,) = refused("part;price\na;12.50\nb;12,50\n")
    assert both[1] == '"12.50" in row 2, "12,50" in row 3'


def test_a_nought_before_the_sign_is_no_thousand():
    assert read("part,price,weight\na,1,0.125\n").rows["weight_kg"].tolist() == [0.125]
    assert read('part,price,weight\na,1,"0,125"\n').rows["weight_kg"].tolist() == [0.125]


def test_the_point_of_a_shortened_word_is_none_of_the_number():
    assert column(read("part,price,currency\na,Fr.12,CHF\nb,.12,CHF\nc, .12,CHF\n"), "price_minor") == [1200, 12, 12]


def test_money_never_goes_through_binary_fractions():
    listed = read("part,price\na,1000000000.07\nb,0.29\nc,1.15\n")
    assert column(listed, "price_minor") == [100000000007, 29, 115]
    assert faults(read("part,price\na,99999999999.00\nb,1.00\n")) == [("row 2, price", '"99999999999.00"')]


def test_currencies():
    """The row's own, else what stands beside the price, else the header's, else the user's."""
    text = "part,price,currency\na,5.00,EUR\nb,€5.00,\nc,5,\nd,500,JPY\ne,500.5,JPY\nf,$5.00,CHF\n"
    listed = read(text)
    assert column(listed, "currency") == ["EUR", "EUR", "USD", "JPY"]
    assert column(listed, "price_minor") == [500, 500, 500, 500]
    assert faults(listed) == [("row 6, price", '"500.5"'), ("row 7, price", '"$5.00"')]
    assert column(read("part,price (GBP)\na,5.00\n"), "currency") == ["GBP"]
    assert refused("part,price\na,$5.00\n", Told("A", "", TODAY))[0][0] == "list.csv: currency"
    said = [p[0] for p in refused("part,price\na,5\n", Told("A" * 101, "XYZ", TODAY))]
    assert said == ["--currency", "--seller"]


def test_days():
    def days(*cells, told=WHOLE):
        rows = "".join(f"p{i},5,{cell}\n" for i, cell in enumerate(cells))
        return column(read("part,price,date\n" + rows, told), "seen_on")

    assert days("2026-04-03", "2026/04/03", "3.4.2026", "2026-04-03 10:30:00") == ["2026-04-03"] * 4
    assert days("3/4/2026", "13/4/2026") == ["2026-04-03", "2026-04-13"]
    assert days("4/3/2026", "4/13/2026") == ["2026-04-03", "2026-04-13"]
    assert days("4/4/2026", "") == ["2026-04-04", "2026-05-01"]
    assert "--dates" in refused("part,price,date\np,5,3/4/2026\n")[0][3]
    month = Told("A", "USD", TODAY, dates="month")
    assert days("4/3/2026", told=month) == ["2026-04-03"]
    assert refused("part,price,date\np,5,13/4/2026\nq,5,4/13/2026\n")[0][1] == "both"
    assert faults(read("part,price,date\np,5,2026-06-03\nq,5,3.4.26\nr,5,30.2.2026\n")) == [
        ("row 2, date", '"2026-06-03"'), ("row 3, date", '"3.4.26"'), ("row 4, date", '"30.2.2026"'),
    ]  # fmt: skip


def test_measures_with_their_units():
    """The pound and the ounce as scipy.constants has them."""
    text = "part,price,weight,lead time,returns\na,5,120 g,2 weeks,none\nb,5,2 lb,3 days,15%\nc,5,8 oz,,free\n"
    listed = read(text)
    assert column(listed, "weight_kg") == pytest.approx([0.12, 2 * constants.lb, 8 * constants.oz], rel=1e-12)
    assert column(listed, "lead_days")[:2] == [14, 3]
    assert column(listed, "return_loss") == [1, 0.15, 0]


@pytest.mark.parametrize(
    ("header", "cell", "name", "value"),
    [
        ("Lead time (weeks)", "2", "lead_days", 14),
        ("Lead (days)", "9", "lead_days", 9),
        ("lead-time, week", "2", "lead_days", 14),
        ("Delivery (weeks)", "2", "lead_days", 14),
        ("Weight (g)", "120", "weight_kg", 0.12),
        ("weight_lb", "2", "weight_kg", 2 * constants.lb),
        ("Weight [oz]", "8", "weight_kg", 8 * constants.oz),
        ("Shipping weight / KG", "2", "weight_kg", 2),
        ("weight_kg", "2", "weight_kg", 2),
        ("returns (%)", "15", "return_loss", 0.15),
        ("restocking %", "7.5", "return_loss", 0.075),
        ("% restocking", "100", "return_loss", 1),
        ("Pack (pcs)", "4", "pack", 4),
        ("Freight (EUR)", "4", None, 400),
        ("Delivery (EUR)", "4", None, 400),
    ],
)
def test_a_header_names_the_unit_of_cells_that_state_none(header, cell, name, value):
    listed = read(f'part,price,"{header}"\na,5,{cell}\nb,5,\n')
    assert not listed.ignored
    assert not listed.notes, "quiet where all is plain"
    if name is None:
        assert listed.sellers == {("Seller A", "EUR"): Seller("Seller A", Shipping(value))}
    else:
        assert column(listed, name)[0] == pytest.approx(value, rel=1e-12)


def test_the_unit_of_a_cell_goes_before_that_of_its_header():
    header = "part,price,weight (g),lead (weeks),returns (%)\n"
    listed = read(
        header + "a,5,0.5 kg,3 days,none\nb,5,500,3,12%\nc,5,2 lb,1 week,free\nd,5,1,1,0.5\ne,5,,,20\nf,5,,,\n"
    )
    assert column(listed, "weight_kg")[:4] == pytest.approx([0.5, 0.5, 2 * constants.lb, 0.001], rel=1e-12)
    assert column(listed, "lead_days")[:4] == [3, 21, 7, 7]
    assert column(listed, "return_loss")[:5] == [1, 0.12, 0, 0.005, 0.2]
    assert listed.rows[["weight_kg", "lead_days", "return_loss"]].iloc[5].isna().all(), "unknown is not zero"
    over = read(header + "a,5,1000001,105,101\n")
    assert [p for p, _ in faults(over)] == ["row 2, weight (g)", "row 2, lead (weeks)", "row 2, returns (%)"]


def test_a_unit_that_does_not_fit_its_column_is_told():
    for header, unit, c in [
        ("Weight (weeks)", "weeks", "weight_kg"), ("Price %", "%", "price"), ("Lead time (g)", "g", "lead_days"),
        ("Shipping kg", "kg", "shipping"), ("returns (EUR)", "EUR", "return_loss"), ("Title lb", "lb", "title"),
    ]:  # fmt: skip
        others = "part,title" if c == "price" else "part,price"
        path, value, rule, remedy = refused(f"{others},{header}\na,5,1\n")[0]
        assert (path, value) == (f"list.csv: row 1, {header}", f'"{header}"')
        assert rule.startswith(f'"{unit}" is no unit of {c}')
        assert f'--map "{header}={c}"' in remedy
        told = Told("A", "USD", TODAY, mapped=read_map([f"{header}={c}"]))
        assert read(f"{others},{header}\na,5,1\n", told).rows.shape == (1, len(FRAME)), "and the remedy helps"
    assert "its units are kg, g, lb, lbs, oz" in refused("part,price,Weight (weeks)\na,5,2\n")[0][2]


def test_a_header_that_is_mapped_keeps_the_unit_that_fits():
    told = Told("A", "", TODAY, mapped=read_map(["Gewicht (g)=weight_kg", "Betrag EUR=price", "Ware kg=title"]))
    listed = read("part,Betrag (EUR),Gewicht (g),Ware kg\na,5,120,x\n", told)
    assert column(listed, "weight_kg") == pytest.approx([0.12])
    assert (column(listed, "currency"), column(listed, "title")) == (["EUR"], ["x"])


def test_percentages_that_look_like_shares_are_asked_about():
    """A column of 0.15 under a per cent sign may be either; one cell over 1 tells."""
    (problem,) = refused("part,price,returns (%)\na,5,0\nb,5,0.15\nc,5,none\nd,5,1\n")
    assert problem[:2] == ("list.csv: returns (%)", '"0.15" in row 3')
    assert '--map "returns (%)="' in problem[3]
    left_out = Told("A", "USD", TODAY, mapped=read_map(["returns (%)="]))
    assert read("part,price,returns (%)\na,5,0.15\n", left_out).rows["return_loss"].isna().all()
    assert column(read("part,price,returns (%)\na,5,0.15\nb,5,15\n"), "return_loss") == [0.0015, 0.15]
    assert column(read("part,price,returns (%)\na,5,0\nb,5,free\nc,5,15%\n"), "return_loss") == [0, 0, 0.15]


@pytest.mark.parametrize("header", ["Restocking %", "Restocking"])
def test_a_share_that_a_workbook_shows_as_a_percentage(header):
    """Its value is 0.15, whatever the header says."""
    rows = [0.15, "0%"], [0.075, "0.00%"], [1, "0%"], ["none", "General"], [20 if "%" in header else 0.2, "General"]
    body = workbook(["part", "price", header], *([f"p{i}", 5.5, value] for i, (value, _) in enumerate(rows)))
    book = openpyxl.load_workbook(io.BytesIO(body))
    for i, (_, shape) in enumerate(rows):
        book.active.cell(i + 2, 3).number_format = shape
        book.active.cell(i + 2, 2).number_format = '0.00" + 5%"'
    out = io.BytesIO()
    book.save(out)
    listed = read(out.getvalue())
    assert column(listed, "return_loss") == pytest.approx([0.15, 0.075, 1, 1, 0.2], rel=1e-12)
    assert set(column(listed, "price_minor")) == {550}


@pytest.mark.parametrize(
    ("header", "means"),
    [("Desciption", "title"), ("Lead tme", "lead_days"), ("Wieght (g)", "weight_kg"), ("Restoking %", "return_loss"),
     ("Weight (stones)", "weight_kg"), ("Lead time (working days)", "lead_days"), ("Superceded by", "superseded_by")],
)  # fmt: skip
def test_a_header_that_is_nearly_known_is_told(header, means):
    listed = read(f"part,price,{header}\na,5,2\n")
    assert listed.ignored == (header,)
    (note,) = listed.notes
    assert note.startswith(f'"{header}" looks like {means} (')
    assert note.endswith(f'--map "{header}={means}"')
    unit = header.partition("(")[2].rstrip(")")
    assert (f"if its cells are in that, and not in {unit}: " if unit else "; if it is: ") in note
    assert not read(f"part,price,{header}\na,5,2\n", Told("A", "USD", TODAY, mapped=read_map([f"{header}="]))).notes


@pytest.mark.parametrize(
    ("header", "cell", "name", "value"),
    [("Weight (pounds)", "2", "weight_kg", 0.90718474), ("Weight (grams)", "200", "weight_kg", 0.2),
     ("Lead time (wks)", "2", "lead_days", 14), ("Pack (dozen)", "1", "pack", 12)],
)  # fmt: skip
def test_units_by_their_full_names(header, cell, name, value):
    assert column(read(f"part,price,{header}\na,5,{cell}\n"), name) == pytest.approx([value])


def test_no_header_is_taken_for_a_price_in_another_unit():
    for header in ("Price (cents)", "Price (per 10)"):
        assert f'--map "{header}=price"' not in refused(f"part,{header}\na,5\n")[0][3]
    assert not read("part,price,Your price\na,5,4\n").notes


def test_headers_that_are_not_near_or_whose_column_is_there_are_left_out_without_a_note():
    assert not read("part,price,Colour,Rating,Bin,Notes,Old price,Items\na,5,,,,,,\n").notes
    assert not read("part,price,title,Desciption\na,5,x,y\n").notes
    assert "\x07" not in read("part,price,Descip\x07tion\na,5,x\n").notes[0]


def test_a_required_column_that_is_misspelled_is_named_in_the_remedy():
    assert [p[3] for p in refused("Partt no,Pricee\na,5\n")] == [
        'say which it is: --map "Partt no=part"', 'say which it is: --map "Pricee=price"',
    ]  # fmt: skip
    (problem,) = refused("part,price,Suplier\na,5,Fen Parts\n", Told("", "USD", TODAY))
    assert problem[3] == 'add it, or say --seller NAME, or --map "Suplier=seller"'


@pytest.mark.parametrize(
    ("word", "status"),
    [("New", "new"), ("in stock", "new"), ("back-ordered", "back_ordered"), ("Back order", "back_ordered"),
     ("NLA", "discontinued"), ("second-hand", "used"), ("donor", "donor"), ("Own Stock", "own_stock"), ("", "new")],
)  # fmt: skip
def test_states(word, status):
    assert column(read(f"part,price,status\na,5,{word}\n"), "status") == [status]
    for s in STATUSES:
        assert column(read(f"part,price,status\na,5,{s}\n"), "status") == [s]


def test_what_needs_no_price():
    """What is not sold, or lies on one's own shelf."""
    text = (
        "part,price,status,superseded by\na,,discontinued,\nb,,own stock,\nc,,new,d\nd,,new,\ne,0,used,\nf,0,donor,\n"
    )
    listed = read(text)
    assert column(listed, "part") == ["a", "b", "c", "f"]
    assert faults(listed) == [("row 5, price", "nothing"), ("row 6, price", "0")]


def test_packs():
    listed = read("part,price each,pack size\na,0.75,10\nb,2.50,1\n")
    assert column(listed, "price_minor") == [750, 250]
    unsure = read("part,unit price,pack size\na,0.75,10\n")
    assert column(unsure, "price_minor") == [75]
    assert any("price_each" in n for n in unsure.notes)


def test_headers():
    listed = read("Part No.,Item description,Unit price,Vendor,Colour\na,b,5,Seller Q,red\n")
    assert column(listed, "title") == ["b"]
    assert column(listed, "seller") == ["Seller Q"]
    assert listed.ignored == ("Colour",)
    assert read("part,price,Shipping weight (kg)\na,5,2\n").rows["weight_kg"].tolist() == [2]
    assert refused("part,sku,price\na,b,5\n")[0][1] == '"sku"'
    assert "part or designation" in refused("reference,price\na,5\n")[0][2]
    assert "none of these columns" in refused("part,price,qty\na,5,1\n")[0][2]
    assert [p[2] for p in refused("colour,size\na,b\n")] == [
        "a price list has a column part",
        "a price list has a column price",
    ]
    told = Told("A", "USD", TODAY, mapped=read_map(["Reference=part", "qty=", "Betrag=price"]))
    assert column(read("reference,betrag,qty\na,5,7\n", told), "part") == ["a"]
    assert refused("part,price\na,5\n", told)[0][:2] == ("--map", '"reference=part"')


@pytest.mark.parametrize("said", ["part", "=part", "x=prise", "a=part|a=price"])
def test_maps_that_say_nothing(said):
    with pytest.raises(BadInput):
        read_map(said.split("|"))


def test_a_word_means_one_column_or_is_asked_about():
    shared = {w for c, h in COLUMNS.items() for w in h.others for d, k in COLUMNS.items() if d != c and w in k.others}
    assert shared | UNSURE == {"reference", "delivery", "stock", "qty", "quantity"}
    for c, head in COLUMNS.items():
        assert all(w == plain(w) for w in head.others), c


def test_rows_with_too_many_fields():
    listed = read("part,price,title\na,5,x\nb,6,blade, large\nc,7,a,b,c,d\nd,8,y,,\n")
    assert column(listed, "part") == ["a", "d"]
    assert [p for p, _ in faults(listed)] == ["row 3, all of it", "row 4, all of it"]


@pytest.mark.parametrize(
    ("body", "said"),
    [(b"", "empty"), (b"\n \n", "empty"), (b"part,price\n", "no rows"), (b'part,price\na,"5\nb,6\n', '"'),
     (b"PK\x03\x04rubbish", "unpacked"), (b"\xd0\xcf\x11\xe0\xa1\xb1", "D0 CF"), (b"a" * (MOST_BYTES + 1), "bytes"),
     (b"," * 300 + b"\n", "columns"), (b"\x00\x01", "NUL")],
)  # fmt: skip
def test_what_is_no_price_list(body, said):
    assert said in refused(body)[0][1]


def test_rows_that_repeat():
    listed = read("part,price,pack\na,5,1\na,5,1\na,6,4\nb,7,1\nc,8,1\nb,7.50,1\n")
    assert column(listed, "part") == ["a", "a", "c"]
    assert listed.dropped == 1
    assert [(p.path, p.value) for p in listed.problems] == [
        ("list.csv: row 7, part", '"b" again, with another price than row 5')
    ]


def test_a_row_that_repeats_need_not_repeat_the_terms():
    listed = read("part,price,shipping\na,5,4.50\na,5,\n")
    assert (len(listed.rows), listed.dropped, listed.problems) == (1, 1, ())
    other = read("part,price,shipping\na,5,4.50\na,5,5.50\n")
    assert faults(other) == [("row 3, shipping", '"Seller A": 5.50, but 4.50 in row 2')]


def test_terms_of_a_seller():
    text = "part,price,seller,shipping,free from,minimum order\na,5,S,4.50,60,\nb,5,S,,,\nc,5,T,,,\nd,5,S,5.00,60,\n"
    listed = read(text)
    assert listed.sellers == {("S", "USD"): Seller("S", Shipping(450, 0, 6000), 0)}
    assert [(p.path, p.value) for p in listed.problems] == [
        ("list.csv: row 5, shipping", '"S": 5.00, but 4.50 in row 2')
    ]


# Of each of a seller's terms: a header that means it, what its rows say, and how that is told.
TERMS = {
    "shipping": ("Postage", "9", "9.00"),
    "shipping_per_kg": ("Freight per kg", "1.50", "1.50"),
    "free_from": ("Free over", "75.00", "75.00"),
    "minimum_order": ("Min. order", "20", "20.00"),
}


@pytest.mark.parametrize("named", [{c: c for c in TERMS}, {c: x[0] for c, x in TERMS.items()}], ids=["own", "other"])
@pytest.mark.parametrize("order", [*itertools.permutations(TERMS)][::5])
@pytest.mark.parametrize("odd", TERMS)
def test_terms_that_contradict_each_other_stand_under_their_own_header(odd, order, named):
    """Whatever the order of the columns, and with what each row says."""
    first = {c: said for c, (_, said, _) in TERMS.items()}
    rows = [named, first, dict.fromkeys(TERMS, ""), {**first, odd: "12"}]
    ends = ["part,price,seller", *(f"{part},5,Fen Parts" for part in "abc")]
    listed = read("\n".join(",".join([*(row[c] for c in order), end]) for row, end in zip(rows, ends, strict=True)))
    assert faults(listed) == [(f"row 4, {named[odd]}", f'"Fen Parts": 12.00, but {TERMS[odd][2]} in row 2')]
    assert listed.sellers == {("Fen Parts", "USD"): Seller("Fen Parts", Shipping(900, 150, 7500), 2000)}


def test_a_row_that_contradicts_two_terms_is_told_of_both():
    """And says nothing of the seller: what another row says of a term it alone stated is not held against it."""
    text = "part,price,shipping,minimum order,free from\na,5,9,,\nb,5,12,20,80\nc,5,9,25,\nd,5,12,20,80\ne,5,,,90\n"
    listed = read(text)
    assert faults(listed) == [
        ("row 3, shipping", '"Seller A": 12.00, but 9.00 in row 2'),
        ("row 4, minimum order", '"Seller A": 25.00, but 20.00 in row 3'),
        ("row 5, shipping", '"Seller A": 12.00, but 9.00 in row 2'),
        ("row 6, free from", '"Seller A": 90.00, but 80.00 in row 3'),
    ]
    assert listed.sellers == {("Seller A", "USD"): Seller("Seller A", Shipping(900), 0)}


def test_terms_are_told_in_the_digits_of_their_currency_and_apart_by_currency():
    listed = read("part,price,currency,shipping\na,500,JPY,900\nb,5,EUR,9\nc,500,JPY,1200\n")
    assert faults(listed) == [("row 4, shipping", '"Seller A": 1200, but 900 in row 2')]
    assert {k: x.shipping.flat for k, x in listed.sellers.items()} == {
        ("Seller A", "JPY"): 900,
        ("Seller A", "EUR"): 900,
    }


def test_a_seller_is_one_however_its_name_is_written():
    """By the spelling that comes first; in its terms, in rows that repeat, with a seller said for the whole file."""
    text = (
        ",,fen parts\npart,price,seller,shipping\na,5,Fen Parts,9\na,5,fen  PARTS,\nb,5,FEN PARTS,12\n"
        "c,5,Fenn Parts,\nd,5,,\nd,6,fen parts,\n"
    )
    listed = read(text, Told("fen  parts", "USD", TODAY))
    assert column(listed, "seller") == ["Fen Parts", "Fenn Parts"]
    assert list(listed.sellers) == [("Fen Parts", "USD")]
    assert listed.dropped == 1
    assert faults(listed) == [
        ("row 5, shipping", '"Fen Parts": 12.00, but 9.00 in row 3'),
        ("row 8, part", '"d" again, with another price than row 7'),
    ]
    said_first = read("part,price,seller\nb,5,\na,5,ÉTABLI\nc,5,Établi\n", Told("établi", "USD", TODAY))
    assert column(said_first, "seller") == ["établi"] * 3


def test_part_ids_that_differ_only_in_capitals_are_told():
    """They stay two parts. What took a part's place counts too."""
    listed = read("part,price,superseded by\nblade_21,5,\nBlade_21,5,\nbelt,5,\nplug,,BELT\n")
    assert column(listed, "part") == ["blade_21", "Blade_21", "belt", "plug"]
    (note,) = listed.notes
    assert note == (
        "part ids that differ only in capital letters count as parts of their own: "
        '"blade_21" and "Blade_21"; "belt" and "BELT"'
    )
    many = read("part,price\n" + "".join(f"p{i},5\nP{i},5\n" for i in range(1_200)))
    assert many.notes[0].endswith('"p0" and "P0"; "p1" and "P1"; "p2" and "P2"; and 1,197 more')
    assert not read("part,price\nBlade_21,5\nblade_22,5\n").notes


def test_parts_that_others_took_the_place_of():
    text = "part,price,superseded by,pack\na,,b,\nb,,c,\nc,5,,\nx,,y,\ny,,z,\nz,,x,\np,,p,\nq,,r,1\nq,,s,2\n"
    listed = read(text)
    named = dict(zip(column(listed, "part"), column(listed, "superseded_by"), strict=True))
    assert named == {"a": "b", "b": "c", "c": ""}, "as the list has it: another list may say that b is on sale again"
    turned = read("part,price,superseded by\nb,,c\na,,b\n")
    assert column(turned, "superseded_by") == ["c", "b"]
    assert faults(listed) == [
        ("row 5, superseded by", '"x" -> "y" -> "z" -> "x"'),
        ("row 6, superseded by", '"x" -> "y" -> "z" -> "x"'),
        ("row 7, superseded by", '"x" -> "y" -> "z" -> "x"'),
        ("row 8, superseded by", '"p" -> "p"'),
        ("row 10, superseded by", "another part than row 9 names"),
    ]


def test_a_workbook():
    body = workbook(
        ["Spring list"], [], ["Part no", "Description", "Price", "Date", "Core"],
        ["a", "blade", 19.99, datetime(2026, 4, 3, 12), None], ["b", "belt", 0.1 + 0.2, date(2026, 4, 4), 3],
        [1234, "x", "1,250.00", "2026-04-05", ""], [None] * 5, ["c", "y", 1.999, "2026-04-05", "#N/A"],
    )  # fmt: skip
    listed = read(body, Told("A", "USD"))
    assert column(listed, "part") == ["a", "b", "1234"]
    assert column(listed, "price_minor") == [1999, 30, 125000]
    assert column(listed, "seen_on") == ["2026-04-03", "2026-04-04", "2026-04-05"]
    assert column(listed, "core_minor") == [0, 300, 0]
    assert faults(listed) == [("row 8, Price", '"1.999"'), ("row 8, Core", '"#N/A"')]


def test_numbers_of_a_workbook_keep_their_point_beside_texts_with_a_comma():
    assert column(read(workbook(["part", "price"], ["a", 12.5], ["b", "12,75"], ["c", 1250])), "price_minor") == [
        1250, 1275, 125000,
    ]  # fmt: skip


def test_sheets_of_a_workbook():
    body = workbook(["part", "price"], ["a", 5], title="Q2", more=["other"])
    assert any('"Q2"' in n for n in read(body).notes)
    assert refused(body, Told("A", "USD", TODAY, sheet="Q3"))[0][3] == "known: Q2, other"
    assert refused("part,price\na,5\n", Told("A", "USD", TODAY, sheet="Q2"))[0][0] == "--sheet"
    assert refused(body, Told("A", "USD", TODAY, encoding="utf-8"))[0][0] == "--encoding"
    assert "header" in refused(body, Told("A", "USD", TODAY, sheet="other"))[0][3]


def test_cells_far_to_the_right_are_not_read():
    assert len(read_sheet(workbook(["part", "price"] + [None] * 1_000 + ["x"], ["a", 5]), "x", len).columns) == 2


def archive(**files):
    body = io.BytesIO()
    with zipfile.ZipFile(body, "w", zipfile.ZIP_DEFLATED) as z:
        for name, text in files.items():
            z.writestr(name, text)
    return body.getvalue()


def test_archives_that_swell():
    assert "unpacked" in refused(archive(a=b"0" * 400_000_001))[0][1]
    assert "no XLSX" in refused(archive(a=b"x"))[0][2]
    assert refused(archive(**{"[Content_Types].xml": b"<!DOCTYPE x>"}))[0][1] == "a DOCTYPE"
    assert "can't be read" in refused(archive(**{"[Content_Types].xml": b"<x/>"}))[0][2]


@pytest.mark.parametrize("claimed", [b"A1:XFD1048576", b"A1", b"A1:A1"])
def test_a_claimed_size_of_a_sheet_is_not_believed(claimed):
    body = workbook(["part", "price"], ["a", 5])
    swollen = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(body)) as old, zipfile.ZipFile(swollen, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b'<dimension ref="A1:B2"', b'<dimension ref="' + claimed + b'"'))
    assert column(read(swollen.getvalue()), "part") == ["a"]


def test_only_the_first_problems_are_told_and_the_rest_counted():
    listed = read("part,price\n" + "".join(f"p{i},x\n" for i in range(1000)))
    assert (listed.bad, listed.count, len(listed.problems)) == (1000, 1000, 100)
    assert listed.told()[-1].value == "900 more values at fault"
    assert len(listed.rows) == 0


def test_terms_are_those_of_the_seller_columns():
    assert set(OF_SELLER) < set(COLUMNS)


@pytest.mark.parametrize("text", ["=1+1", "+x", "-y", "@z", "=HYPERLINK(1)"])
def test_a_formula_in_text_is_text(text):
    assert column(read(f"part,price,title\na,5,{text}\n"), "title") == [text]


def test_what_is_used_up_has_a_pack_of_none():
    listed = read("part,price,pack,status\na,,0,own stock\nb,,0,used\nc,0,0,donor\nd,5,0,new\ne,,0,discontinued\n")
    assert column(listed, "part") == ["a", "b", "c"]
    assert column(listed, "pack") == [0, 0, 0]
    assert faults(listed) == [("row 5, pack", '"0"'), ("row 6, pack", '"0"')]


def test_a_part_in_two_states_on_one_day_is_told():
    (note,) = read("part,price,status\na,5,new\na,6,discontinued\nb,5,new\nb,3,used\nc,1,new\n").notes
    assert note.endswith('the one that promises less holds: "a"')
    assert not read("part,price,status\nb,5,new\nb,3,used\n").notes


def formatted(*rows, formats=()):
    """Return a workbook of rows of cells. formats: number formats by cell."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for cell, number_format in formats:
        book.active[cell].number_format = number_format
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


HEADS = ["part", "price", "lead time", "pack", "superseded by"]


def test_a_formula_that_was_never_calculated_is_told_by_its_cell():
    """Written by a program that calculates nothing; read as nothing it would be a pack of one, and no successor."""
    body = formatted(HEADS, ["a", 5, 2, "=5*2", "=A3"], ["b", "=2*4", 2, 1, None])
    told = refused(body)
    assert [p[0] for p in told] == ["list.csv: cell D2", "list.csv: cell E2", "list.csv: cell B3"]
    assert [p[1] for p in told] == ['"=5*2"', '"=A3"', '"=2*4"']
    assert "never calculated" in told[0][2]
    assert column(read(formatted(HEADS, ["a", 5, 2, 10, None])), "pack") == [10]


@pytest.mark.parametrize(
    ("number_format", "told", "currency"),
    [
        ("[$€-2] #,##0.00", "", "EUR"), ('#,##0.00 "€"', "", "EUR"), ("General", "USD", "USD"),
        ('_("$"* #,##0.00_);_("$"* (#,##0.00)', "USD", "USD"), ("[Red]0.00;[Blue]-0.00", "USD", "USD"),
        ("[$-409]0.00", "USD", "USD"), ("#,##0.00 [$CHF]", "", "CHF"),
    ],
)  # fmt: skip
def test_a_number_comes_with_what_its_format_shows(number_format, told, currency):
    body = formatted(HEADS, ["a", 50, 2, 1, None], formats=[("B2", number_format)])
    listed = read(body, Told("Seller A", told, TODAY))
    assert (column(listed, "currency"), column(listed, "price_minor")) == ([currency], [5000])


def test_a_format_that_contradicts_what_was_told_is_a_fault():
    body = formatted(HEADS, ["a", 50, 2, 1, None], ["b", 60, 2, 1, None], formats=[("B2", "[$€-2] 0"), ("B3", '"$"0')])
    listed = read(body, Told("Seller A", "USD", TODAY))
    assert column(listed, "currency") == ["EUR", "USD"], "as the same text in a CSV file is read"


def test_a_unit_that_a_format_shows_counts():
    body = formatted(HEADS, ["a", 50, 2, 1, None], ["b", 50, 2, 1, None], formats=[("C2", '0" weeks"')])
    assert read(body, WHOLE).rows["lead_days"].tolist() == [14.0, 2.0]
