"""Lists of which no real rows were at hand: invented stations in the documented layouts."""

import csv
import io
import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.errors import RequestError
from skyglint.transmitters import acma, fcc_tables, ised, ofcom, own_csv
from skyglint.transmitters.dbase import records

OWN = """extra,name,kind,frequency_hz,latitude_deg,longitude_deg,power_w,height_m,polarization,rds_pi
x,Mossgate,fm,98300000,58.72,6.05,60000,720,vertical,f3a7
x,Tarn Beacon,carrier,143050000,-45.1,170.2,3000,,circular,
x,,fm,98300000,58,6,1,,,
x,Bad,fm,98300000,58,460,1000,,,
x,Bad,am,98300000,58,46,1000,,,
x,Bad,fm,98300000,58,46,much,,,
"""


def test_own_csv():
    listing = own_csv.read(OWN.splitlines(), "own.csv")
    mossgate, beacon = listing.transmitters
    assert (mossgate.erp_horizontal_w, mossgate.erp_vertical_w, mossgate.rds_pi) == (0.0, 60_000.0, "F3A7")
    assert (beacon.erp_horizontal_w, beacon.erp_vertical_w, beacon.kind) == (1500.0, 1500.0, "carrier")
    assert math.isnan(beacon.height_m)
    assert [r.line for r in listing.rejections] == [4, 5, 6, 7]
    assert "longitude is 460" in listing.rejections[1].reason


@given(st.lists(st.text(max_size=20), min_size=8, max_size=8))
def test_no_row_breaks_our_own_csv(fields):
    text = io.StringIO(newline="")
    csv.writer(text).writerows([OWN.splitlines()[0].split(","), ["x", *fields], OWN.splitlines()[1].split(",")])
    listing = own_csv.read(io.StringIO(text.getvalue(), newline=""), "own.csv")
    assert len(listing.transmitters) + len(listing.rejections) >= 1
    assert listing.transmitters[-1].name == "Mossgate"


def test_own_csv_without_its_columns_says_which():
    with pytest.raises(RequestError, match="power_w"):
        own_csv.read(["name,frequency_hz,kind,latitude_deg,longitude_deg", "a,1,fm,1,1"], "own.csv")


# Header names as programs that read the real file meet them; the rows are invented.
OFCOM = """Transmitter parameters,,,,,,,,,
Date,Station,Area,Site,Licence ,Frequency (MHz),NGR,RDS PS,RDS PI,Site Ht,Aerial Ht,In-UseERP/HP,In-Use ERP/VP,Lat,Long
2026-01-01,Dale FM,Dale,Low Moor,L1,98.3,SE 1234 5678,DALE_FM_,c3a7,210,45,"0.025,000","1.500,000",,
2026-01-01,Fell FM,Fell,High Moor,L2,101.1,,FELL,C3A8,,,0.5,0,54.61,-2.93
2026-01-01,No Place,,,L3,101.3,,,,,,1,0,,
"""


def test_british_sheet():
    listing = ofcom.read(OFCOM.splitlines(), "sheet.csv")
    dale, fell = listing.transmitters
    assert (dale.erp_horizontal_w, dale.erp_vertical_w) == (25.0, 1500.0)
    assert (dale.height_m, dale.rds_pi, dale.name) == (255.0, "C3A7", "Dale FM")
    # SE 1234 5678 lies in West Yorkshire: about 54.0 N, 1.8 W.
    assert (dale.latitude_deg, dale.longitude_deg) == pytest.approx((54.0, -1.8), abs=0.05)
    assert (fell.latitude_deg, fell.erp_w) == (54.61, 500.0)
    assert [(r.line, r.reason[:14]) for r in listing.rejections] == [(5, "grid reference")]


ACMA = """Area Served,Callsign,Frequency(MHz),Polarisation,Antenna Height (m),Antenna Pattern,Maximum ERP (W),\
Latitude,Longitude,State,Status
Red Plain,9RPL,98.3,M,120,DA,"10,000",34 50 07S,138 34 28E,SA,Issued
Red Plain,9RPX,99.1,V,30,OD,250,-33 50 22,151 3 46,NSW,
Red Plain,9OFF,99.5,V,30,OD,250,-33 50 22,151 3 46,NSW,Cancelled
Red Plain,9BAD,99.5,Q,30,OD,250,-33 50 22,151 3 46,NSW,
"""


def test_australian_list():
    listing = acma.read(ACMA.splitlines(), "list.csv")
    mixed, vertical = listing.transmitters
    assert (mixed.erp_horizontal_w, mixed.erp_vertical_w, mixed.directional) == (5000.0, 5000.0, True)
    assert (mixed.latitude_deg, mixed.longitude_deg) == pytest.approx((-34.835278, 138.574444), abs=1e-6)
    assert (vertical.latitude_deg, vertical.erp_horizontal_w) == (pytest.approx(-33.839444, abs=1e-6), 0.0)
    assert listing.set_aside == {"status cancelled": 1}
    assert "polarisation" in listing.rejections[0].reason


def dbase(fields, rows):
    """Write a dBase III table by its published structure, independently of the reader."""
    width = 1 + sum(size for _, size in fields)
    head = struct.pack("<BBBBIHH20x", 3, 126, 1, 1, len(rows), 32 + 32 * len(fields) + 1, width)
    for name, size in fields:
        head += struct.pack("<11sc4xBB14x", name.encode(), b"C", size, 0)
    body = b"".join(
        (b"*" if row.get("deleted") else b" ")
        + b"".join(str(row.get(name, "")).rjust(size).encode() for name, size in fields)
        for row in rows
    )
    return head + b"\x0d" + body + b"\x1a"


STATION = [("PROVINCE", 2), ("CITY", 12), ("CALL_SIGN", 12), ("FREQUENCY", 6), ("LATITUDE", 8), ("LONGITUDE", 8),
           ("BANNER", 2), ("ANT_MODE", 1), ("ERPVAV", 8), ("ERPVPK", 8), ("ERPHAV", 8), ("ERPHPK", 8),
           ("GROUND_LEV", 8), ("RAD_CENTER", 8), ("CLASS", 3)]  # fmt: skip
PLACE = {"FREQUENCY": 98.3, "LATITUDE": 431530, "LONGITUDE": 795512, "ERPHAV": 30000, "ERPHPK": 50000,
         "GROUND_LEV": 100, "RAD_CENTER": 250}  # fmt: skip


def test_canadian_extract():
    table = dbase(
        STATION,
        [
            PLACE | {"CALL_SIGN": "CXXA-FM", "BANNER": "OP", "ANT_MODE": "D"},
            PLACE | {"CALL_SIGN": "CXXB-FM", "BANNER": "AL"},
            PLACE | {"CALL_SIGN": "CXXC-FM", "BANNER": "AU", "LONGITUDE": 1885512},
            PLACE | {"CALL_SIGN": "CXXD-FM", "BANNER": "OP", "LATITUDE": 437530},
            PLACE | {"CALL_SIGN": "CXXE-FM", "BANNER": "OP", "deleted": True},
        ],
    )
    stations = dbase([("STATION", 14), ("PATT_KEY", 8)], [{"STATION": "CXXA-FM   OP", "PATT_KEY": "K1"}])
    points = dbase(
        [("PATT_KEY", 8), ("ANGLE", 6), ("GAIN", 6)],
        [{"PATT_KEY": "K1", "ANGLE": 0, "GAIN": 0}, {"PATT_KEY": "K1", "ANGLE": 180, "GAIN": -20}],
    )
    listing = ised.read({"FMSTATIO": table, "APATSTAT": stations, "APATDAT": points}.get, "extract")
    first, planned = listing.transmitters
    # The manual's own conversion: 43.258333 N, 79.92 W; powers in watts; 50 kW peak beats 30 kW average.
    assert (first.latitude_deg, first.longitude_deg) == pytest.approx((43.258333, -79.92), abs=1e-6)
    assert (first.erp_horizontal_w, first.height_m, first.antenna_height_m) == (50_000.0, 250.0, 150.0)
    # -20 dB is a hundredth of the power.
    assert first.pattern.relative_power([0.0, 180.0]) == pytest.approx([1.0, 0.01])
    # Beyond 180 degrees west lies the far side of the date line.
    assert planned.longitude_deg == pytest.approx(171.08, abs=1e-6)
    assert planned.status == "planned"
    assert listing.set_aside == {"banner AL": 1}
    assert [r.line for r in listing.rejections] == [4]


def test_a_cut_table_is_refused():
    whole = dbase([("A", 3)], [{"A": "abc"}] * 5)
    assert [row["A"] for _, row in records(whole, "t")] == ["abc"] * 5
    with pytest.raises(RequestError, match="ends early"):
        list(records(whole[:-8], "t"))
    with pytest.raises(RequestError, match="not a dBase table"):
        list(records(b"PK" * 40, "t"))


def table(*rows):
    return ["|".join(row) + "|^|" for row in rows]


LMS = {
    "facility": table(
        ("facility_id", "callsign", "service_code", "facility_status", "active_ind", "frequency",
         "community_served_city", "community_served_state", "license_filing_id"),
        ("7", "K0AA", "FM", "LICEN", "Y", "98.3", "DALE", "ZZ", "lf7"),
        ("8", "K0BA", "FM", "LICEN", "Y", "98.3", "DALE", "ZZ", "lf8"),
        ("9", "K0CA", "FM", "FVOID", "Y", "98.3", "DALE", "ZZ", "lf9"),
        ("10", "K0DA", "FM", "LICEN", "Y", "98.3", "DALE", "ZZ", "lf10"),
    ),
    "application_facility": table(
        ("afac_facility_id", "afac_application_id", "afac_license_filing_id"),
        ("7", "old", "lf6"), ("7", "a7", "lf7"), ("8", "a8", "lf8"), ("10", "a10", "lf10"),
    ),
    "license_filing_version": table(
        ("filing_version_id", "active_ind"), ("a7", "Y"), ("old", "N"), ("a8", "Y"), ("a10", "N")
    ),
    "app_location": table(
        ("aloc_aapp_application_id", "aloc_loc_record_id", "aloc_lat_deg", "aloc_lat_mm", "aloc_lat_ss",
         "aloc_lat_dir", "aloc_long_deg", "aloc_long_mm", "aloc_long_ss", "aloc_long_dir"),
        ("a7", "l7", "39", "40", "24.3", "N", "105", "13", "4.5", "W"),
    ),
    "app_antenna": table(
        ("aant_aloc_loc_record_id", "aant_antenna_record_id", "aant_rotation_deg", "aant_horiz_rc_amsl",
         "aant_vert_rc_amsl", "aant_horiz_rc_hgt", "aant_vert_rc_hgt"),
        ("l7", "n7", "90", "2364", "", "110", ""),
    ),
    "app_antenna_frequency": table(
        ("aafq_aant_antenna_record_id", "aafq_horiz_erp_kw", "aafq_vert_erp_kw"), ("n7", "12.", "11.38")
    ),
    "app_antenna_field_value": table(
        ("aafv_aant_antenna_record_id", "aafv_azimuth", "aafv_field_value"), ("n7", "0", "1.0"), ("n7", "180", "0.5")
    ),
}  # fmt: skip


def test_american_licensing_tables():
    listing = fcc_tables.read(LMS.__getitem__, "tables")
    (one,) = listing.transmitters
    assert (one.latitude_deg, one.longitude_deg) == pytest.approx((39.673417, -105.217917), abs=1e-6)
    assert (one.erp_horizontal_w, one.erp_vertical_w, one.height_m) == (12_000.0, 11_380.0, 2364.0)
    # The pattern is turned clockwise by its rotation: the full field towards 90, half the field towards 270 degrees.
    assert one.pattern.relative_power([90.0, 270.0]) == pytest.approx([1.0, 0.25])
    assert listing.set_aside == {"station not licensed": 1, "no licence in force": 1}
    assert [r.reason for r in listing.rejections] == ["K0BA: nothing joins it to a location"]
