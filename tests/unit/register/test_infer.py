"""Points from exports nobody described: names of many plants, units, descriptions, numbers, and caution."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from excursions.plant import Plant, Point
from excursions.records import TagSeries
from excursions.register import infer_plant
from tests.builders import tag_series
from tests.unit.register.exports import export, tag


def seen(*tags: tuple[str, ...]) -> list[tuple[str, str, str, str]]:
    """(name, measurand, value, temperature) of every point."""
    plant, _ = infer_plant(export(*tags), None)
    return [(point.name, point.measurand, point.value, point.temperature) for point in plant.points]


def the_point(*tags: tuple[str, ...]) -> Point:
    plant, _ = infer_plant(export(*tags), None)
    return plant.points[0]


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        pytest.param(
            (("AT-2103.PV", "ph"), ("TT-2103", "degc")),
            [("AT-2103", "ph", "AT-2103.PV", "TT-2103")],
            id="loop letters",
        ),
        pytest.param(
            (("Site/Area/QT101_pH", "ph"), ("Site/Area/QT101_Temp", "degc")),
            [("QT101", "ph", "Site/Area/QT101_pH", "Site/Area/QT101_Temp")],
            id="path and words",
        ),
        pytest.param(
            (("AIT101.pH", "ph"), ("AIT101.Temp", "degc")),
            [("AIT101", "ph", "AIT101.pH", "AIT101.Temp")],
            id="dotted",
        ),
        pytest.param(
            (("2103-AT.PV", "ph"), ("2103-TT.PV", "degc")),
            [("2103-AT", "ph", "2103-AT.PV", "2103-TT.PV")],
            id="number first",
        ),
        pytest.param(
            (("Leitfähigkeit_Rücklauf", "us"), ("Temperatur_Rücklauf", "degc")),
            [("Leitfähigkeit_Rücklauf", "conductivity", "Leitfähigkeit_Rücklauf", "Temperatur_Rücklauf")],
            id="german",
        ),
        pytest.param(
            (("Conductivité retour", "us"), ("Température retour", "degc")),
            [("Conductivité retour", "conductivity", "Conductivité retour", "Température retour")],
            id="french",
        ),
        pytest.param(
            (("pH_tanque_1", "ph"), ("Temperatura_tanque_1", "degc")),
            [("pH_tanque_1", "ph", "pH_tanque_1", "Temperatura_tanque_1")],
            id="spanish",
        ),
        pytest.param(
            (("Turbidez.saida", "ntu"), ("Temperatura.saida", "degc")),
            [("Turbidez.saida", "turbidity", "Turbidez.saida", "Temperatura.saida")],
            id="portuguese",
        ),
        pytest.param(
            (("R1.pH.PV", "ph"), ("R1.pH.T", "degc"), ("R1.DO.PV", "mg"), ("R1.DO.T", "degc")),
            [("R1.pH", "ph", "R1.pH.PV", "R1.pH.T"), ("R1.DO", "oxygen", "R1.DO.PV", "R1.DO.T")],
            id="two analysers of one vessel, a temperature each",
        ),
        pytest.param(
            (("R1_pH", "ph"), ("R1_DO", "sat"), ("R1_Temp", "degc")),
            [("R1_pH", "ph", "R1_pH", "R1_Temp"), ("R1_DO", "oxygen_saturation", "R1_DO", "R1_Temp")],
            id="two analysers of one vessel share its temperature",
        ),
        pytest.param(
            (("R1_pH", "ph"), ("R1_ORP", "mv"), ("R1_pHTemp", "degc")),
            [("R1_pH", "ph", "R1_pH", "R1_pHTemp"), ("R1_ORP", "redox", "R1_ORP", "")],
            id="a temperature that is called the pH's own is not shared",
        ),
        pytest.param(
            (("L7_QI301_PH", "ph"), ("L7_QI302_O2", "mg"), ("L7_QI303_ORP", "mv")),
            [
                ("L7_QI301", "ph", "L7_QI301_PH", ""),
                ("L7_QI302", "oxygen", "L7_QI302_O2", ""),
                ("L7_QI303", "redox", "L7_QI303_ORP", ""),
            ],
            id="a quantity written with a figure is cut off as the others are",
        ),
        pytest.param(
            (("AT-2103A", "acid"), ("AT-2103B", "acid"), ("TT-2103", "degc")),
            [("AT-2103A", "ph", "AT-2103A", "TT-2103"), ("AT-2103B", "ph", "AT-2103B", "TT-2103")],
            id="redundant probes",
        ),
        pytest.param(
            (("AIT-100A", "ph", "pH"), ("AIT-100B", "degc", "°C")),
            [("AIT-100A", "ph", "AIT-100A", "AIT-100B")],
            id="two channels told apart by their units",
        ),
        pytest.param(
            (("pH", "ph"), ("Temp", "degc"), ("Cond", "us"), ("Temp.1", "degc")),
            [("pH", "ph", "pH", "Temp"), ("Cond", "conductivity", "Cond", "Temp.1")],
            id="by order",
        ),
        pytest.param(
            (("pH", "ph"), ("DO_mgL", "mg"), ("SpCond_uScm", "us"), ("Temp_C", "degc")),
            [
                ("pH", "ph", "pH", "Temp_C"),
                ("DO_mgL", "oxygen", "DO_mgL", "Temp_C"),
                ("SpCond_uScm", "conductivity", "SpCond_uScm", "Temp_C"),
            ],
            id="one temperature for a nameless export",
        ),
        pytest.param(
            (("X4711", "ph", "pH"), ("X4712", "degc", "°C")),
            [("X4711", "ph", "X4711", "X4712")],
            id="only units speak",
        ),
        pytest.param(
            (
                ("DB5.W2", "ph", "", "pH Neutralisation Becken 1"),
                ("DB5.W4", "degc", "", "Temperatur Neutralisation Becken 1"),
                ("DB5.W6", "us", "", "Leitfähigkeit Ablauf"),
            ),
            [("DB5.W2", "ph", "DB5.W2", "DB5.W4"), ("DB5.W6", "conductivity", "DB5.W6", "")],
            id="only descriptions speak",
        ),
        pytest.param(
            (("PHIT_101", "ph"), ("PHIT_101_T", "degc"), ("pH2", "ph"), ("pH2_T", "degc")),
            [("PHIT_101", "ph", "PHIT_101", "PHIT_101_T"), ("pH2", "ph", "pH2", "pH2_T")],
            id="a trailing T behind a measurand",
        ),
        pytest.param(
            (("W.F1-PH.PV", "ph"), ("W.F1-PH.TT", "degc"), ("W.F1-CO2.PV", "us"), ("W.F1-CO2.TT", "degc")),
            [
                ("W.F1-PH", "ph", "W.F1-PH.PV", "W.F1-PH.TT"),
                ("W.F1-CO2", "co2", "W.F1-CO2.PV", "W.F1-CO2.TT"),
            ],
            id="loop letters without a number at the end",
        ),
        pytest.param(
            (("P9-AT", "ph"), ("P9-TT", "degc")),
            [("P9", "other", "P9-AT", "P9-TT")],
            id="loop letters at the end of both",
        ),
        pytest.param(
            (("L3.CO2.g_l", "ph"), ("L3.CO2.Temp_C", "degc")),
            [("L3.CO2", "co2", "L3.CO2.g_l", "L3.CO2.Temp_C")],
            id="the unit as a part of the name",
        ),
        pytest.param(
            (("SCR1_AI_PH", "ph"), ("SCR1_TI_PH", "degc")),
            [("SCR1", "ph", "SCR1_AI_PH", "SCR1_TI_PH")],
            id="loop letters in front of the measurand",
        ),
        pytest.param(
            (("AT55_mA", "ph"), ("TT55", "degc")),
            [("AT55_mA", "other", "AT55_mA", "TT55")],
            id="a current says nothing of what is measured",
        ),
        pytest.param(
            (("BROOK_TURB", "us"), ("BROOK_WTEMP", "degc")),
            [("BROOK_TURB", "turbidity", "BROOK_TURB", "BROOK_WTEMP")],
            id="temperature glued to a letter",
        ),
        pytest.param(
            (("L1_CNDCT", "us"), ("L1_TMPR", "degc")),
            [("L1", "conductivity", "L1_CNDCT", "L1_TMPR")],
            id="words without vowels",
        ),
        pytest.param(
            (("T_R1", "degc"), ("pH_R1", "ph")), [("pH_R1", "ph", "pH_R1", "T_R1")], id="a leading T"
        ),
        pytest.param(
            (("QT101 / pH", "ph"), ("QT101 / Pt100", "degc")),
            [("QT101", "ph", "QT101 / pH", "QT101 / Pt100")],
            id="a Pt100 is a temperature",
        ),
        pytest.param(
            (("10LCA10CQ001", "us", "uS/cm"), ("10LCA10CT002", "degc")),
            [
                ("10LCA10CQ001", "conductivity", "10LCA10CQ001", ""),
                ("10LCA10CT002", "temperature", "10LCA10CT002", ""),
            ],
            id="plant codes with different numbers stay apart",
        ),
    ],
)
def test_points_and_pairs(
    tags: tuple[tuple[str, ...], ...], expected: list[tuple[str, str, str, str]]
) -> None:
    assert seen(*tags) == expected


@pytest.mark.parametrize(
    "tags",
    [
        pytest.param((("AT-2103", "ph"), ("TT-2104", "degc")), id="different loops"),
        pytest.param((("Reactor pH", "ph"), ("Jacket temperature", "degc")), id="different places"),
        pytest.param((("U1/AT-1", "ph"), ("U2/TT-1", "degc")), id="same loop number in different units"),
        pytest.param(
            (("Site/Area/AT-101", "ph"), ("Site/Area/TT-102", "degc"), ("Site/Area/AT-103", "ph")),
            id="same area only",
        ),
        pytest.param(
            (("pH inlet", "ph"), ("pH outlet", "ph"), ("Temp tank 3", "degc")),
            id="a temperature of another place",
        ),
        pytest.param(
            (("Q1", "ph", "pH"), ("Q2", "ph", "pH"), ("Q3", "degc", "degC"), ("Q4", "degc", "degC")),
            id="order that is not alternating",
        ),
    ],
)
def test_weak_evidence_pairs_nothing(tags: tuple[tuple[str, ...], ...]) -> None:
    points = seen(*tags)
    assert all(temperature == "" for *_, temperature in points)
    temperatures = [value for _, measurand, value, _ in points if measurand == "temperature"]
    assert temperatures == [row[0] for row in tags if row[1] == "degc"]


@pytest.mark.parametrize(
    ("name", "shape", "unit", "measurand"),
    [
        ("pH-Wert", "ph", "", "ph"),
        ("PHT_3", "ph", "pH", "ph"),
        ("ORP_4", "mv", "mV", "redox"),
        ("Redoxpotential", "mv", "", "redox"),
        ("LF 3", "us", "", "conductivity"),
        ("CIT-301", "us", "", "conductivity"),
        ("x", "us", "µS/cm", "conductivity"),
        ("x", "ms", "mS/cm @25°C", "conductivity"),
        ("Sauerstoff", "mg", "", "oxygen"),
        ("DO", "sat", "", "oxygen_saturation"),
        ("O2 Sättigung", "sat", "%", "oxygen_saturation"),
        ("Ferm1.pO2", "sat", "", "oxygen_saturation"),
        ("Trübung Filtrat", "ntu", "", "turbidity"),
        ("CO2", "us", "mg/L", "co2"),
        ("pCO2", "flow", "mbar", "co2_pressure"),
        ("x", "mg", "mg/L", "other"),
        ("NH4 Becken 1", "mg", "mg/L", "other"),
        ("pH", "mv", "mV", "other"),
        ("O2 offgas", "sat", "%", "other"),
        ("PH 3", "flow", "", "other"),
        ("Tank 3", "ph", "", "other"),
        ("pH", "ma", "mA", "ph"),
        ("Cond", "ma", "mA", "other"),
    ],
)
def test_measurand(name: str, shape: str, unit: str, measurand: str) -> None:
    point = the_point((name, shape, unit))
    assert point.measurand == measurand
    assert point.inferred["measurand"]


@pytest.mark.parametrize(
    ("name", "shape", "unit", "stated"),
    [
        ("Cond", "ms", "mS cm-1", "mS/cm"),
        ("Cond_mS", "ms", "", "mS/cm"),
        ("Cond (µS/cm)", "us", "", "uS/cm"),
        ("DO_mgL", "mg", "", "mg/L"),
        ("ORP_V", "volt", "", "V"),
        ("DO_V", "mg", "", ""),
        ("DO", "sat", "% O2 sat", "%sat"),
        ("pH", "ph", "pH", ""),
        ("pH", "ma", "mA", "mA"),
    ],
)
def test_units_are_stated_where_the_file_alone_would_not_do(
    name: str, shape: str, unit: str, stated: str
) -> None:
    assert the_point((name, shape, unit)).unit == stated


@pytest.mark.parametrize(
    ("name", "shape", "unit", "stated"),
    [
        ("Temp", "degc", "", ""),
        ("Temp", "degc", "°C", ""),
        ("Temp", "degc", "Grad C", "degC"),
        ("Temp_F", "steam_degf", "", "degF"),
        ("Temp", "steam_degf", "", "degF"),
        ("Temp", "steam_degf", "deg F", ""),
    ],
)
def test_fahrenheit_is_told_by_unit_name_or_steam(name: str, shape: str, unit: str, stated: str) -> None:
    assert the_point(("pH", "ph"), (name, shape, unit)).temperature_unit == stated


def test_raw_current_of_a_ph_gets_the_usual_range_and_says_so() -> None:
    point = the_point(("pH", "ma", "mA"))
    assert point.range == (0.0, 14.0)
    assert "assumed" in point.inferred["range"]


def test_flags_find_their_point_their_place_and_their_role() -> None:
    plant, decisions = infer_plant(
        export(
            ("L1/AT-1.pH", "ph"),
            ("L1/AT-2.pH", "ph"),
            ("L1/AT-1.HOLD", "flag"),
            ("L1/CIP_active", "flag"),
            ("L1/XV-2", "flag"),
            ("L2/Reinigung", "flag"),
            ("L1/AT-1.STATUS", "word"),
        ),
        None,
    )
    first, second = plant.points
    assert (first.hold, first.wash, first.status) == ("L1/AT-1.HOLD", "L1/CIP_active", "L1/AT-1.STATUS")
    assert (second.hold, second.wash) == ("", "L1/CIP_active")
    assert "L2/Reinigung" in {decision.subject for decision in decisions}


def test_a_valve_of_the_loop_that_opens_now_and_then_is_its_wash_valve() -> None:
    assert the_point(("AT-7.pH", "ph"), ("XV-7", "flag")).wash == "XV-7"
    assert the_point(("AT-7.pH", "ph"), ("XV-7", "busy_flag")).wash == ""


def test_pressure_is_attached_with_a_unit_the_house_knows() -> None:
    point = the_point(("AT-7.pH", "ph"), ("PT-7", "bar", "bar"))
    assert (point.pressure, point.pressure_unit) == ("PT-7", "bar")
    assert the_point(("AT-7.pH", "ph"), ("PT-7", "gauge", "bar")).pressure_unit == "bar_g"
    assert the_point(("AT-7.pH", "ph"), ("PT-7", "bar")).pressure == ""


def test_set_points_limits_and_process_signals_are_no_points_and_are_named() -> None:
    plant, decisions = infer_plant(
        export(("AT-1.pH", "ph"), ("AT-1.SP", "ph"), ("AT-1.pH_HH_ALM", "off"), ("FT-1.PV", "flow", "m3/h")),
        None,
    )
    assert [point.name for point in plant.points] == ["AT-1"]
    assert {d.subject for d in decisions if d.what == "left out"} == {"AT-1.SP", "AT-1.pH_HH_ALM", "FT-1.PV"}


def test_an_export_of_process_signals_alone_still_gives_points() -> None:
    assert [row[1] for row in seen(("nile flow", "flow"), ("LT-3", "flow"))] == ["other", "other"]


@pytest.mark.parametrize("name", ["pH pump pit", "pH_valve_chamber", "pH Pump House"])
def test_a_machine_that_another_word_follows_is_a_place(name: str) -> None:
    assert the_point((name, "ph")).measurand == "ph"


@pytest.mark.parametrize("name", ["pH pump", "pH valve", "pH_pump_speed", "pH valve open", "acid pump flow"])
def test_a_machine_named_last_or_what_it_does_is_no_probe(name: str) -> None:
    assert the_point((name, "ph")).measurand == "other"


def test_related_points_are_neighbours() -> None:
    many = [(f"AT-{k}.pH", "ph") for k in range(4, 8)]
    plant, _ = infer_plant(export(("AT-3A.pH", "ph"), ("AT-3B.pH", "ph"), *many), None)
    assert [point.neighbours for point in plant.points] == [("AT-3B",), ("AT-3A",), (), (), (), ()]


def test_the_few_readings_of_a_measurand_are_looked_at_side_by_side() -> None:
    plant, _ = infer_plant(export(("AT-3.pH", "ph"), ("AT-7.pH", "ph"), ("AT-4.LF", "us")), None)
    assert [point.neighbours for point in plant.points] == [("AT-7",), ("AT-3",), ()]


@pytest.mark.parametrize(
    "temperature", ["θερμοκρασία", "Температура", "温度", "온도", "sıcaklık", "teplota", "Hőmérséklet"]
)
def test_a_temperature_is_one_in_the_words_of_other_languages(temperature: str) -> None:
    plant, _ = infer_plant(export(("QC-01 pH", "ph"), (f"QC-01 {temperature}", "degc", "°C")), None)
    (point,) = plant.points
    assert point.temperature == f"QC-01 {temperature}"


@pytest.mark.parametrize(
    ("name", "shape", "measurand"),
    [
        ("水处理/电导率 3", "us", "conductivity"),
        ("Котёл/Кислород", "mg", "oxygen"),
        ("Torbidità uscita", "ntu", "turbidity"),
        ("전도도 1", "us", "conductivity"),
    ],
)
def test_a_quantity_is_known_by_its_name_in_other_languages(name: str, shape: str, measurand: str) -> None:
    plant, _ = infer_plant(export((name, shape)), None)
    assert [point.measurand for point in plant.points] == [measurand]


def test_names_stay_apart_where_the_short_ones_would_clash() -> None:
    names = [row[0] for row in seen(("U1/QT1.PV", "ph", "pH"), ("U2/QT1.PV", "ph", "pH"))]
    assert names == ["U1/QT1", "U2/QT1"]


def test_every_inferred_field_is_a_decision_with_a_reason() -> None:
    plant, decisions = infer_plant(export(("AT-1.pH", "ph"), ("TT-1", "degc"), ("AT-1.HOLD", "flag")), None)
    (point,) = plant.points
    told = {decision.what.split(":")[0] for decision in decisions if decision.subject == point.name}
    assert told == set(point.inferred) - {"name"}
    assert all(decision.why and decision.option for decision in decisions)


def test_what_the_register_states_stays() -> None:
    known = Plant(
        points=(
            Point(name="mine", value="AT-1.pH", measurand="redox", temperature="TT-9", inferred={}),
            Point(name="AT-2", inferred={"measurand": "not stated", "temperature": "stated as none"}),
        ),
        ignore=("AT-3*",),
    )
    plant, decisions = infer_plant(
        export(
            ("AT-1.pH", "ph"),
            ("TT-1", "degc"),
            ("AT-2.pH", "ph"),
            ("TT-2", "degc"),
            ("AT-3.pH", "ph"),
            ("AT-4.pH", "ph"),
        ),
        known,
    )
    by_name = {point.name: point for point in plant.points}
    assert (by_name["mine"].measurand, by_name["mine"].temperature) == ("redox", "TT-9")
    assert (by_name["AT-2"].value, by_name["AT-2"].measurand, by_name["AT-2"].temperature) == (
        "AT-2.pH",
        "ph",
        "",
    )
    assert "AT-4" in by_name
    assert not any(point.value == "AT-3.pH" for point in plant.points)
    assert any(d.subject == "AT-3.pH" and "ignore" in d.why for d in decisions)


@pytest.mark.parametrize(
    ("stated", "shape", "unit", "meant"),
    [
        ("oxygen", "sat", "%sat", "oxygen_saturation"),
        ("oxygen_saturation", "mg", "mg/L", "oxygen"),
        ("oxygen", "mg", "mg/L", "oxygen"),
        ("redox", "ph", "pH", "redox"),
    ],
)
def test_the_unit_of_the_export_says_which_oxygen_a_register_means(
    stated: str, shape: str, unit: str, meant: str
) -> None:
    known = Plant(points=(Point(name="P1", value="DOT", measurand=stated),))
    plant, decisions = infer_plant(export(("DOT", shape, unit)), known)
    assert plant.points[0].measurand == meant
    assert any(d.subject == "P1" and f"the export is {unit}" in d.why for d in decisions) == (meant != stated)


@pytest.mark.parametrize(
    ("unit", "level", "tolerance"),
    [("ppb", 12.0, 0.003), ("µg/L", 400.0, 0.003), ("µg/L", 3_500.0, None), ("mg/L", 0.5, None)],
)
def test_traces_of_oxygen_have_a_tolerance_of_their_own(
    unit: str, level: float, tolerance: float | None
) -> None:
    series = export(("Feed O2", "mg", unit))
    plain = series["Feed O2"]
    series["Feed O2"] = replace(plain, value=plain.value / np.median(plain.value) * level)
    plant, decisions = infer_plant(series, None)
    assert plant.points[0].measurand == "oxygen"
    assert plant.points[0].tolerance == tolerance
    assert any(d.what == "tolerance: 0.003 mg/L" for d in decisions) == (tolerance is not None)


@pytest.mark.parametrize(
    ("name", "unit", "usual", "peak", "tolerance"),
    [
        ("Filter 3 turbidity", "NTU", 0.09, 0.6, 0.05),
        ("Filter 3 turbidity", "mNTU", 90.0, 600.0, 0.05),
        ("River turbidity", "NTU", 0.4, 60.0, None),
        ("River turbidity", "NTU", 5.0, 60.0, None),
        ("Loop conductivity", "uS/cm", 0.056, 0.09, 0.005),
        ("Return conductivity", "uS/cm", 0.0, 0.1, None),
        ("Condensate conductivity", "mS/cm", 0.055, 0.09, None),
    ],
)
def test_traces_are_known_by_the_usual_reading_too(
    name: str, unit: str, usual: float, peak: float, tolerance: float | None
) -> None:
    value = np.where(np.arange(2_000) % 50 == 0, peak, usual + 0.01 * usual * np.sin(np.arange(2_000.0)))
    plant, _ = infer_plant({name: tag_series(value, tag=name, unit=unit)}, None)
    assert plant.points[0].tolerance == tolerance


def test_one_device_is_known_by_its_own_irregular_instants() -> None:
    series = export(("A7", "ph", "pH"), ("B9", "degc", "degC"), ("C3", "ph", "pH"), ("D1", "degc", "degC"))
    rng = np.random.default_rng(3)
    shared = series["A7"].time + rng.integers(0, 40 * 10**9, series["A7"].time.size)
    for name in ("A7", "D1"):
        series[name] = replace(series[name], time=shared)
    for name in ("B9", "C3"):
        series[name] = replace(
            series[name], time=series[name].time + rng.integers(0, 40 * 10**9, shared.size)
        )
    plant, _ = infer_plant(series, None)
    assert {point.value: point.temperature for point in plant.points if point.measurand == "ph"} == {
        "A7": "D1",
        "C3": "",
    }


def test_nothing_to_look_at_is_survived() -> None:
    empty = TagSeries(tag="pH", time=np.empty(0, np.int64), value=np.empty(0), quality=np.empty(0, np.uint8))
    missing = replace(tag("T", "degc"), value=np.full(400, np.nan))
    bad = replace(tag("Cond", "us"), quality=np.full(400, 2, np.uint8))
    plant, _ = infer_plant({"pH": empty, "T": missing, "Cond": bad}, None)
    assert {point.measurand for point in plant.points} == {"ph", "conductivity"}
    assert infer_plant({}, None) == (Plant(), ())


@pytest.mark.parametrize(
    "name", ["", " ", "<b>", "a" * 300, "пэ аш/7", "温度 3", "...", "\x00", "=cmd()", "pH\npH"]
)
def test_any_name_is_survived(name: str) -> None:
    plant, _ = infer_plant({name: tag(name, "ph")}, None)
    assert plant.points[0].value == name


def test_order_decides_nothing_but_order() -> None:
    tags = [("AT-1.pH", "ph"), ("TT-1", "degc"), ("AT-2.pH", "ph"), ("TT-2", "degc"), ("AT-1.HOLD", "flag")]
    forward, backward = infer_plant(export(*tags), None)[0], infer_plant(export(*tags[::-1]), None)[0]
    key = lambda point: point.name  # noqa: E731
    assert sorted(forward.points, key=key) == sorted(backward.points, key=key)


def test_the_cost_of_many_tags_is_linear() -> None:
    kinds = (("AT-{}.PV", "ph"), ("TT-{}.PV", "degc"), ("AT-{}.HOLD", "flag"), ("FT-{}.PV", "flow"))
    shapes = {shape: tag("x", shape) for _, shape in kinds}

    def inferred(loops: int) -> tuple[Plant, float]:
        series = {
            name: replace(shapes[shape], tag=name)
            for i in range(loops)
            for form, shape in kinds
            for name in [form.format(i)]
        }
        begun = time.process_time()
        plant, _ = infer_plant(series, None)
        return plant, time.process_time() - begun

    _, few = inferred(125)
    plant, many = inferred(1_250)
    assert many < 40 * few  # ten times the tags: a quadratic cost would be a hundred times
    assert len(plant.points) == 1_250
    assert all(point.temperature and point.hold for point in plant.points)


def test_one_temperature_serves_all_readings_of_its_place() -> None:
    assert seen(("RIVER_DO", "mg"), ("RIVER_WT", "degc", "degC"), ("RIVER_PH", "ph")) == [
        ("RIVER_DO", "oxygen", "RIVER_DO", "RIVER_WT"),
        ("RIVER_PH", "ph", "RIVER_PH", "RIVER_WT"),
    ]
    found = seen(("T7/AIT-7A", "ph", "pH"), ("T7/AIT-7B", "ph", "pH"), ("T7/TIT-7A", "degc", "degC"))
    assert [temperature for _, _, _, temperature in found] == ["T7/TIT-7A"] * 2


def test_a_weight_and_a_second_temperature_are_no_temperature_of_the_place() -> None:
    found = seen(("RIVER_DO", "mg"), ("RIVER_WT", "flow"), ("RIVER_PH", "ph"))
    assert all(temperature == "" for _, _, _, temperature in found)
    found = seen(("RIVER_DO", "mg"), ("RIVER_WT", "degc", "degC"), ("RIVER_AT", "degc", "degC"))
    assert found[0][3] == ""


def test_lanes_side_by_side_are_neighbours_and_a_row_of_machines_is_not() -> None:
    lanes = [(f"N{lane}-O2-PV", "mg", "mg/L") for lane in (1, 2)]
    plant, _ = infer_plant(export(*lanes, ("N1-T-PV", "degc", "degC"), ("N2-T-PV", "degc", "degC")), None)
    assert [point.temperature for point in plant.points] == ["N1-T-PV", "N2-T-PV"]
    assert [point.neighbours for point in plant.points] == [(plant.points[1].name,), (plant.points[0].name,)]
    plant, _ = infer_plant(export(*((f"V{number}_pH", "ph") for number in range(1, 9))), None)
    assert all(point.neighbours == () for point in plant.points)


def test_a_unit_that_says_saturation_goes_before_loop_letters_that_may_be_a_vessels() -> None:
    named = ("FE1-AIT01.PV", "ph", "pH"), ("FE1-AIT02.PV", "sat", "%sat"), ("FE1-TIT01.PV", "degc", "degC")
    assert ("FE1-AIT02", "oxygen_saturation", "FE1-AIT02.PV", "") in seen(*named)
    assert not [row for row in seen(("FE1-FT02.PV", "sat", "%"), *named[:1]) if row[2] == "FE1-FT02.PV"]


def test_alike_loops_of_alike_vessels_are_named_alike() -> None:
    names = [name for name, *_ in seen(*((f"FE{n}-{kind}01.PV", shape, unit) for n in (1, 2, 3)
             for kind, shape, unit in (("AIT", "ph", "pH"), ("TIT", "degc", "degC"))))]  # fmt: skip
    assert names == ["FE1-AIT01", "FE2-AIT01", "FE3-AIT01"]
