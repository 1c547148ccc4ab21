"""The bid file: values with units, every fault in one line naming file, key and mend."""

import os
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geoturf import pipeline
from geoturf.bid import Bid, every_rule, make_bid, read_bid, unusual
from geoturf.errors import BidError
from geoturf.rules.layer import COLUMNS, nearest

LAYER = {"layers": [{"path": "lots.gpkg"}]}


def faults(text, tmp_path, layers='[[layers]]\npath = "lots.gpkg"\n'):
    path = tmp_path / "bid.toml"
    path.write_text(text + "\n" + layers, encoding="utf-8")
    with pytest.raises(BidError) as refused:
        read_bid(path)
    assert all(f.file == "bid.toml" and f.severity == "error" for f in refused.value.findings)
    return [f.message for f in refused.value.findings]


def test_values_carry_units(tmp_path):
    path = tmp_path / "bid.toml"
    path.write_text(
        """
        [[layers]]
        path = "lots.gpkg"
        sigma = "1 1/2 in"
        [products.meadow]
        roll_width = "12 ft 6 in"
        roll_lengths = ["150 ft", "100 ft"]
        pile_weight = "80 oz/yd^2"
        price = "2.60 USD/ft^2"
        """,
        encoding="utf-8",
    )
    bid = read_bid(path)
    meadow = bid.products["meadow"]
    assert bid.layers[0].sigma_m == pytest.approx(0.0381, rel=1e-12)
    assert meadow.roll_width_m == pytest.approx(3.81, rel=1e-12)
    assert meadow.roll_lengths == pytest.approx((45.72, 30.48), rel=1e-12)
    assert meadow.pile_weight_kg_per_m2 == pytest.approx(
        80 * 0.028349523125 / 0.83612736, rel=1e-12
    )  # NIST SP 811 B.8
    assert meadow.price.amount == Decimal("2.60")
    assert bid.folder == str(tmp_path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("laysers = 3", "key 'laysers' is not known (did you mean 'layers'?)"),
        ("[layout]\nend_allowence = '3 in'", "key 'layout.end_allowence' is not known (did you "
                                             "mean 'end_allowance'?)"),
        ("[layout]\nperimeter_spacing = '3 in'", "key 'layout.perimeter_spacing' is not known; it "
                                                 "belongs in [edges]"),
        ("[price.costs]\ntaep = '4 USD/roll'", "key 'price.costs.taep' is not known (did you mean "
                                               "'tape'?)"),
        ("[products.a]\npile_wieght = '60 oz/yd^2'", "key 'products.a.pile_wieght' is not known "
                                                     "(did you mean 'pile_weight'?)"),
        ("[water.conversions.turf]\ncaptial = '1 USD'", "key 'water.conversions.turf.captial' is not known (did you mean 'capital'?)"),  # noqa: E501
        ("folder = 'x'", "key 'folder' is not known; layer paths start from the bid file's folder"),
        ("[layout]\nend_allowance = '3 lb'", "layout.end_allowance: '3 lb' is not a length, which "
                                             "is written like \"15 ft\""),
        ("[layout]\nend_allowance = 3", 'layout.end_allowance: 3 has no unit; a length is written like "15 ft"'),
        ("[layout]\nend_allowance = '3 inchs'", "layout.end_allowance: 'inchs' is no unit geoturf "
                                                "knows"),
        ("[layout]\nbearing = 'north'", "layout.bearing: 'north' is neither free nor a compass "
                                        "bearing, such as \"45 deg\""),
        ("[price]\nwaste = '5 ft'", "price.waste: '5 ft' is not a fraction, which is written like "
                                    "\"5 %\""),
        ("[products.a]\nprice = '2 USD/lb'", "products.a: price of turf is per area (\"2.10 "
                                             "USD/ft^2\"), per length or per roll"),
        ("[products.a]\nprice = 2.10", "products.a.price: 2.1 is not a price, which is written "
                                       "like \"2.10 USD/ft^2\""),
        ("[products.a]\nprice = '3 EUR/ft^2'", "products.a.price is 3 EUR/ft^2, but the bid's "
                                               "currency is USD; give it in USD"),
        ("currency = 'dollars'", "currency: 'dollars' is not three capital letters, such as USD"),
        ("layout = 3", "layout: 3 is not a table ([layout], with keys below it)"),
        ("units = 'imperial'", "units: 'imperial' should be 'us' or 'metric'"),
        ("name = 3", 'name: 3 should be text in quotes ("...")'),
        ("[edges]\nedging_on = 'open'", "edges.edging_on: 'open' is not a list"),
        ("[[cuts.stock]]\nproduct = 'turf60'\nwidth = '3 ft'", "key 'cuts.stock#1.length' is "
                                                               "needed: its length"),
        ("[[cuts.stock]]\nproduct = 'turf6'\nwidth = '3 ft'\nlength = '9 ft'", "cuts.stock#1.product: 'turf6' is not one of [products] (did you mean 'turf60'?)"),  # noqa: E501
        ("[cuts]\nbilling_step = '0 ft'", "cuts: billing_step must be 1 cm to 1000 ft"),
        ("[layout]\ncut_step = '0.1 in'", "layout: cut_step must be 5 mm to 12 in"),
        ("[layout]\ncut_step = '0 in'", "layout: cut_step must be 5 mm to 12 in"),
        ("[layout]\ncut_step = '13 in'", "layout: cut_step must be 5 mm to 12 in"),
        ("[products.a]\nroll_width = '31 ft'", "products.a: roll_width must be at most 30 ft"),
        ("[products.a]\nroll_lengths = ['100 ft', '6 in']", "products.a: roll_lengths must be 1 ft "
                                                            "to 1000 ft"),
        ("[products.a]\n[[products.a.more_rolls]]\nroll_width = '15 ft'\nroll_lengths = '50 ft'\nprice = '2 USD/ft^2'", "products.a: more_rolls has a roll_width twice; give all lengths of a width in one list of roll_lengths"),  # noqa: E501
        ("[products.a]\n[[products.a.more_rolls]]\nroll_width = '0 ft'\nroll_lengths = '50 ft'\nprice = '2 USD/ft^2'", "products.a.more_rolls#1: roll_width must be more than zero"),  # noqa: E501
        ("[products.a]\nroll_width = '6 in'", "products.a: a roll 6.00 in wide leaves 4.00 in between its selvage trims, less than the smallest piece (24.00 in); set roll_width, selvage_trim or min_piece_width"),  # noqa: E501
        ("[products.a]\nroll_lengths = '1 ft'", "products.a: a roll 12.00 in long leaves no piece between two end allowances of 3.00 in; set roll_lengths or end_allowance"),  # noqa: E501
        ("[products.a]\nroll_lengths = '300 ft'\n[layout]\ncut_step = '1/4 in'", "products.a: a roll 3,600.00 in long is more than 12,000 cut steps of 0.25 in; set roll_lengths or cut_step"),  # noqa: E501
        ("[[cuts.stock]]\nproduct = 'turf60'\nwidth = '0 ft'\nlength = '9 ft'", "cuts.stock#1: width must be 1 in to 100 ft"),
        ("[layout]\ntoward = 'gate'", "layout.toward: no layer is called 'gate'"),
    ],
)  # fmt: skip
def test_a_fault_is_one_line_with_its_mend(text, message, tmp_path):
    assert faults(text, tmp_path) == [message]


@pytest.mark.parametrize(
    ("layers", "message"),
    [
        ("", "key 'layers' is needed: where polygons come from: [[layers]] with a path, once for "
             "each"),
        ('[layers]\npath = "x"', "layers: is a list of tables: write [[layers]]"),
        ("[[layers]]\nname = 'x'", "key 'layers#1.path' is needed: a GIS file, a zip, a folder or "
                                   "a glob"),
        ("[[layers]]\npath = ' '", "layers#1.path: is empty; it names a GIS file, a zip, a folder "
                                   "or a glob"),
        ("[[layers]]\npath='x'\nrole='lawn'", "layers#1.role: 'lawn' should be 'turf', 'parcel', 'building', 'paving', 'exclude', 'street', 'view', 'fence' or 'planter'"),  # noqa: E501
        ("[[layers]]\npath='x'\nproduct='turf'", "layers#1.product: 'turf' is not one of "
                                                 "[products] (did you mean 'turf60'?)"),
        ("[[layers]]\npath='x'\nrole='paving'", 'layers: a bid needs a layer of role "turf" or "parcel"; all layers here are context'),  # noqa: E501
        ("layers = []", "layers: a bid needs at least one layer ([[layers]] with a path)"),
        ("[[layers]]\npath='x'\ncolumns.siet='LOT'", f"layers#1.columns: no column of geoturf is called 'siet' (did you mean 'site'?); it knows {', '.join(COLUMNS)}"),  # noqa: E501
    ],
)  # fmt: skip
def test_layers_are_checked(layers, message, tmp_path):
    assert faults("", tmp_path, layers) == [message]


def test_all_faults_are_told_at_once(tmp_path):
    text = "nam = 'x'\n[layout]\nend_allowance = '3 lb'\nbearing = 'x'\n[edges]\ntolerence = '1 in'"
    assert len(faults(text, tmp_path, "[[layers]]\nrole = 'x'")) == 6


def test_prices_left_at_defaults_in_another_currency_are_named(tmp_path):
    (line,) = faults("currency = 'EUR'\n[products.a]\nprice = '2 EUR/ft^2'", tmp_path)
    assert "the bid is in EUR" in line
    assert "layout.seam_cost" in line
    assert "price.costs.infill" in line
    assert "products.a.price" not in line


def test_a_bid_changed_to_another_currency_is_refused_when_it_is_run():
    """Not only as it is read: whoever changes a bid in a program is told too, before any file is
    looked for."""
    bid = make_bid(
        {
            "layers": [{"path": "no such file.geojson", "role": "turf"}],
            "products": {"a": {"price": "2 USD/ft^2"}},
            "price": {"costs": {"aggregate": "36 USD/ton"}},
        }
    )
    with pytest.raises(BidError) as refused:
        pipeline.run(bid.model_copy(update={"currency": "EUR"}))
    told = str(refused.value)
    for name, price in (
        ("products.a.price", "2 USD/ft^2"),
        ("price.costs.aggregate", "36 USD/ton"),
    ):
        assert f"{name} is {price}, but the bid's currency is EUR; give it in EUR" in told


def test_a_number_of_thousands_of_digits_is_one_line(tmp_path):
    """Python itself refuses to write such a number in decimals."""
    (tmp_path / "bid.toml").write_text(
        f'[[layers]]\npath = "a.gpkg"\n[ground]\nsteep_pct = 0x{"f" * 5000}\n'
    )
    with pytest.raises(BidError, match="steep_pct: a number of thousands") as refused:
        read_bid(tmp_path / "bid.toml")
    assert len(str(refused.value)) < 300


@pytest.mark.parametrize(
    ("content", "code", "words"),
    [
        (b"layers = [", "bid-syntax", "is not TOML"),
        (b'name = "caf\xe9"', "bid-syntax", "not UTF-8"),
        (b"x = " + b"[" * 5000, "bid-syntax", "not TOML"),
        (b"", "missing-key", "layers"),
    ],
    ids=["cut short", "not UTF-8", "deep", "empty"],
)
def test_a_file_that_is_no_bid(content, code, words, tmp_path):
    (tmp_path / "bid.toml").write_bytes(content)
    with pytest.raises(BidError) as refused:
        read_bid(tmp_path / "bid.toml")
    (finding,) = refused.value.findings
    assert finding.code == code
    assert words in finding.message


def test_a_missing_file_names_the_nearest(tmp_path):
    (tmp_path / "meadows.toml").write_text("")
    with pytest.raises(BidError, match=r"did you mean 'meadows\.toml'"):
        read_bid(tmp_path / "medows.toml")
    with pytest.raises(BidError, match="there is no such bid file"):
        read_bid(tmp_path / "nowhere" / "x.toml")
    with pytest.raises(BidError, match="cannot be read"):
        read_bid(tmp_path)


def test_a_bid_cannot_be_changed():
    bid = make_bid(LAYER)
    with pytest.raises(Exception, match="frozen"):
        bid.name = "other"


def test_every_rule_is_listed_with_its_default_and_source():
    rows = {(section, key): row for section, key, *row in every_rule()}
    assert rows["edges", "perimeter_spacing"][:4] == ['"4 in"', "3 in", "4 in", "common practice"]
    assert rows["[layers]", "path"][0] == "(needed)"
    assert rows["products.<name>", "roll_width"][0] == '"15 ft"'
    assert ("", "folder") not in rows
    assert all(
        row[-1]
        for (section, key), row in rows.items()
        if section in ("", "[layers]", "layout", "edges", "ground")
    )


def test_defaults_as_listed_are_the_defaults():
    """Every default, written into a bid as it is listed, makes the same bid as no rule at all."""
    import tomllib

    sections: dict[str, list[str]] = {}
    for section, key, default, *_ in every_rule():
        if section in (
            "ground",
            "parcels",
            "edges",
            "layout",
            "cuts",
            "materials",
            "materials.rates",
            "price",
            "price.costs",
        ):
            sections.setdefault(section, []).extend(
                [f"{key} = {default}"] if default != "(none)" else []
            )
    text = "\n".join(f"[{name}]\n" + "\n".join(lines) for name, lines in sections.items())
    assert make_bid(tomllib.loads(text) | LAYER) == make_bid(LAYER)


def test_defaults_are_not_unusual_and_others_are_noted():
    assert unusual(make_bid(LAYER)) == []
    notes = unusual(
        make_bid(
            LAYER
            | {"layout": {"selvage_trim": "5 in"}, "products": {"a": {"pile_weight": "20 oz/yd^2"}}}
        )
    )
    assert [n.message for n in notes] == [
        "products.a.pile_weight = 20 oz/yd^2 is outside the usual 40 oz/yd^2 to 100 oz/yd^2 "
        "(common practice)",
        "layout.selvage_trim = 5 in is outside the usual 1/2 in to 2 in (common practice)",
    ]
    assert {n.severity for n in notes} == {"note"}


@pytest.mark.parametrize(
    ("trim", "noted"),
    [
        ("0.49 in", True),
        ("1/2 in", False),
        ("0.51 in", False),
        ("1.99 in", False),
        ("5.08 cm", False),
        ("2.01 in", True),
    ],
)
def test_the_usual_range_ends_at_its_limits(trim, noted):
    """Both limits belong to it, however they are written (2 in are 5.08 cm); just past them is
    noted."""
    assert [n.code for n in unusual(make_bid(LAYER | {"layout": {"selvage_trim": trim}}))] == [
        "unusual-value"
    ] * noted


def test_every_range_holds_its_default():
    """Over all rules, the ones with a range: as pydantic reads them, the default lies inside."""
    bid = make_bid(LAYER | {"water": {"climate": {"eto": ["1 in"] * 12}}})
    assert unusual(bid) == []


KEYS = [
    "layers", "path", "columns", "where", "role", "products", "turf60", "price", "costs", "labour", "roll_lengths", "layout",
    "bearing", "cuts", "stock", "water", "climate", "eto", "conversions", "turf", "rebate", "name", "units", "x", "a.b",
]  # fmt: skip
VALUES = st.one_of(
    st.sampled_from(
        [
            "3 in",
            "2 USD/ft^2",
            "5 %",
            "free",
            "turf60",
            "lots.gpkg",
            "",
            "EUR",
            "1 1/2 in",
            "9" * 80,
        ]
    ),
    st.integers(-(10**400), 10**400),
    st.floats(),
    st.booleans(),
    st.dates(),
    st.text(max_size=5),
)
TABLES = st.recursive(
    VALUES,
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4)
    ),
    max_leaves=12,
)


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), TABLES, max_size=5), st.booleans())
def test_whatever_a_bid_says_it_is_a_bid_or_a_refusal(content, with_layer):
    """Nobody sees a traceback: each fault is one line with text in it."""
    try:
        make_bid((LAYER if with_layer else {}) | content, "bid.toml")
    except BidError as refused:
        assert refused.findings
        assert all(f.message and "\n" not in f.line() for f in refused.findings)


@pytest.mark.parametrize(
    "wrong", [[["x"]], -1, {"x": {"y": 1}}, "no such thing", float("nan"), 10**400], ids=repr
)
def test_every_rule_at_once_given_a_wrong_value(wrong):
    """Each rule of each section (water too) set to something that fits none or few of them: only
    refusals come of it."""
    content: dict[str, object] = {"layers": [{"path": "lots.gpkg"}]}
    for section, key, *_ in every_rule():
        if section and not section.startswith("["):
            table = content
            for part in section.replace("<name>", "turf60").split("."):
                table = table.setdefault(part, {})
            table[key] = wrong
    with pytest.raises(BidError) as refused:
        make_bid(content, "bid.toml")
    named = {f.message.split(":")[0] for f in refused.value.findings}
    assert max(len(f.message) for f in refused.value.findings) < 400
    assert {
        "edges.tolerance",
        "materials.dig_depth",
        "products.turf60.roll_width",
        "price.overhead",
    } <= named


def test_nearest_ignores_case():
    assert nearest("LOT_NMBER", ["lot_number", "area"]) == " (did you mean 'lot_number'?)"
    assert nearest("zzz", ["lot_number"]) == ""


def test_a_bid_is_made_of_plain_tables():
    assert isinstance(make_bid(LAYER), Bid)
    assert make_bid(LAYER).products["turf60"].roll_width_m == pytest.approx(4.572)


def test_a_byte_order_mark_is_read_over(tmp_path):
    (tmp_path / "bid.toml").write_bytes(b'\xef\xbb\xbfname = "Mark"\n[[layers]]\npath = "x.shp"\n')
    assert read_bid(tmp_path / "bid.toml").name == "Mark"


def test_a_bid_that_is_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "bid.toml")
    with pytest.raises(BidError, match="no regular file"):
        read_bid(tmp_path / "bid.toml")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "nan"])
def test_a_number_that_is_none_is_refused(value):
    with pytest.raises(BidError, match="steep_pct"):
        make_bid({"layers": [{"path": "x.shp"}], "ground": {"steep_pct": value}})


def test_a_date_is_answered_for_what_it_is():
    with pytest.raises(BidError) as refused:
        make_bid({"layers": [{"path": "x.shp"}], "date": "2026-05-31"})
    assert "stands in [terms]" in str(refused.value) and "rebate" not in str(refused.value)


@pytest.mark.parametrize("key", ["folder", "looked"])
def test_what_geoturf_sets_itself_no_bid_file_sets(tmp_path, key):
    (tmp_path / "bid.toml").write_text(f'{key} = {{}}\n[[layers]]\npath = "x.shp"\n')
    with pytest.raises(BidError, match=f"key '{key}' is not known"):
        read_bid(tmp_path / "bid.toml")
