"""Small calibration logs, an oddity or two each, with the entries they must give.

An entry is (line, time UTC, point, probe, phase, action, standards, figures); a standard is
(true value, its unit, raw, its unit, temperature or None, label where a word names it).  The plant, the tags
and the serial numbers are invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

NAN = math.nan
FOUND, LEFT = "as_found", "as_left"
CAL, VER = "calibration", "verification"


@dataclass(frozen=True)
class Case:
    name: str
    text: str
    entries: list[tuple]
    refused: list[tuple[int, str]] = field(default_factory=list)
    cleaned: list[tuple[int, str]] = field(default_factory=list)
    installed: list[tuple[str, str, str, str]] = field(default_factory=list)
    columns: dict[str, str] = field(default_factory=dict)
    encoding: str = "utf-8"
    tz: str = "UTC"


def buffers(
    first: float, second: float, warm: float | None = None, labels: tuple[str, str] = ("7.00", "4.01")
) -> list[tuple]:
    return [(7.0, "pH", first, "mV", warm, labels[0]), (4.01, "pH", second, "mV", warm, labels[1])]


CASES = [
    Case(
        "a row a phase, buffers side by side",
        """date,point,probe,action,phase,buffer 1,mV 1,temp 1,buffer 2,mV 2,temp 2,slope [%],zero point [pH],comment
2024-03-01 09:00,QT101,P-1,calibration,as found,7.00,-1.2,25,4.01,176.9,25,100.7,6.98,"ok, dry"
2024-03-01 09:20,QT101,P-1,calibration,as left,7.00,-1.0,25,4.01,177.0,25,,,
""",
        [
            (
                2,
                "2024-03-01T09:00",
                "QT101",
                "P-1",
                FOUND,
                CAL,
                buffers(-1.2, 176.9, 25.0),
                {"slope": 100.7, "zero_point": 6.98},
            ),
            (3, "2024-03-01T09:20", "QT101", "P-1", LEFT, CAL, buffers(-1.0, 177.0, 25.0), {}),
        ],
    ),
    Case(
        "a row a buffer",
        """cal_id,datetime,tag,serial,stage,buffer,mV,temperature C
1,2024-01-05T09:00:00Z,AT-2103,SN-77,as found,7.00,-3.1,24.8
1,2024-01-05T09:08:00Z,AT-2103,SN-77,as found,4.01,170.2,24.8
1,2024-01-05T09:30:00Z,AT-2103,SN-77,as left,7.00,0.4,24.9
1,2024-01-05T09:38:00Z,AT-2103,SN-77,as left,4.01,175.9,24.9
""",
        [
            (2, "2024-01-05T09:00", "AT-2103", "SN-77", FOUND, CAL, buffers(-3.1, 170.2, 24.8), {}),
            (4, "2024-01-05T09:30", "AT-2103", "SN-77", LEFT, CAL, buffers(0.4, 175.9, 24.9), {}),
        ],
    ),
    Case(
        "a row a figure, german, dotted dates, decimal commas",
        """Datum;Position;Parameter;Vorgefunden;Hinterlassen;Einheit;Bemerkung
05.01.2024 07:30;LF 3;Zellkonstante;0,98;1,00;1/cm;
05.01.2024 08:00;pH 1;Steilheit;97,1;99,0;%;gereinigt
05.01.2024 08:00;pH 1;Nullpunkt;6,91;7,00;pH;
""",
        [
            (2, "2024-01-05T07:30", "LF 3", "", FOUND, CAL, [], {"cell_constant": 0.98}),
            (2, "2024-01-05T07:30", "LF 3", "", LEFT, CAL, [], {"cell_constant": 1.0}),
            (3, "2024-01-05T08:00", "pH 1", "", FOUND, CAL, [], {"slope": 97.1, "zero_point": 6.91}),
            (3, "2024-01-05T08:00", "pH 1", "", LEFT, CAL, [], {"slope": 99.0, "zero_point": 7.0}),
        ],
    ),
    Case(
        "group titles over the header, month first with AM and PM",
        """Calibration log of line 4;;;;;;
;;;As found;;As left;
Date;Tag;Serial;Slope %;Zero pH;Slope %;Zero pH
1/15/2024 8:30 AM;AT-1;A1;95.2;6.80;98.9;7.01
2/14/2024 1:05 PM;AT-1;A1;96.2;6.90;99.1;7.02
""",
        [
            (4, "2024-01-15T08:30", "AT-1", "A1", FOUND, CAL, [], {"slope": 95.2, "zero_point": 6.8}),
            (4, "2024-01-15T08:30", "AT-1", "A1", LEFT, CAL, [], {"slope": 98.9, "zero_point": 7.01}),
            (5, "2024-02-14T13:05", "AT-1", "A1", FOUND, CAL, [], {"slope": 96.2, "zero_point": 6.9}),
            (5, "2024-02-14T13:05", "AT-1", "A1", LEFT, CAL, [], {"slope": 99.1, "zero_point": 7.02}),
        ],
    ),
    Case(
        "buffers named by the headers, days without a time",
        """date,point,probe,mV pH7,mV pH4,temp,slope,offset,by
2024-03-02,pH-1,0815,-2.2,171.0,22.5,98.3,-2.2,JD
""",
        [
            (
                2,
                "2024-03-02T12:00",
                "pH-1",
                "0815",
                LEFT,
                CAL,
                [(7.0, "pH", -2.2, "mV", 22.5, "7"), (4.0, "pH", 171.0, "mV", 22.5, "4")],
                {"slope": 98.3, "offset": -2.2},
            )
        ],
    ),
    Case(
        "oxygen: currents in air and in zero, swaps, a membrane",
        """Timestamp,Tag,Probe SN,Action,Air current (nA),Zero current (nA),Temp (°C),Air pressure (hPa),Slope (%),Comments
2024-03-02 10:00,AT-301,DO-5,Calibration in air,62.1,0.3,23.0,1008,101,polarised overnight
2024-03-09 10:00,AT-301,DO-5,Verification in air,58.1,,23.5,1011,,
2024-03-11 10:00,AT-301,DO-5,Membrane replaced,,,,,,new membrane
2024-03-12 11:00,AT-301,DO-9,Probe replaced,,,,,,
""",
        [
            (
                2,
                "2024-03-02T10:00",
                "AT-301",
                "DO-5",
                LEFT,
                CAL,
                [(NAN, "", 62.1, "nA", 23.0, "air"), (0.0, "", 0.3, "nA", 23.0, "zero")],
                {"slope": 101.0},
            ),
            (3, "2024-03-09T10:00", "AT-301", "DO-5", FOUND, VER, [(NAN, "", 58.1, "nA", 23.5, "air")], {}),
        ],
        refused=[(4, "no figures and no raw values")],
        installed=[("DO-5", "AT-301", "", "2024-03-12T11:00"), ("DO-9", "AT-301", "2024-03-12T11:00", "")],
    ),
    Case(
        "conductivity, spanish, date and hour apart",
        """Fecha;Hora;Punto de medida;Nº de serie;Acción;Patrón;Lectura antes;Lectura después;Constante de celda;Observaciones
03/02/2024;9:15;CT-5;K55;Calibración;1413 µS/cm;1389;1413;1,02;
17/03/2024;9:15;CT-5;K55;Verificación;12,88 mS/cm;12,7;;;
""",
        [
            (
                2,
                "2024-02-03T09:15",
                "CT-5",
                "K55",
                FOUND,
                CAL,
                [(1413.0, "uS/cm", 1389.0, "uS/cm", None, "1413 µS/cm")],
                {},
            ),
            (
                2,
                "2024-02-03T09:15",
                "CT-5",
                "K55",
                LEFT,
                CAL,
                [(1413.0, "uS/cm", 1413.0, "uS/cm", None, "1413 µS/cm")],
                {"cell_constant": 1.02},
            ),
            (
                3,
                "2024-03-17T09:15",
                "CT-5",
                "K55",
                FOUND,
                VER,
                [(12.88, "mS/cm", 12.7, "mS/cm", None, "12,88 mS/cm")],
                {},
            ),
        ],
    ),
    Case(
        "turbidity with a zero and a standard",
        """Date,Analyzer,Standard 1 (NTU),Reading 1,Standard 2 (NTU),Reading 2,Gain,Zero NTU
2024-05-01 06:00,TU-1,0.0,0.12,20.0,18.9,1.06,0.12
""",
        [
            (
                2,
                "2024-05-01T06:00",
                "TU-1",
                "",
                LEFT,
                CAL,
                [(0.0, "NTU", 0.12, "NTU", None, "0.0"), (20.0, "NTU", 18.9, "NTU", None, "20.0")],
                {"gain": 1.06, "zero": 0.12},
            )
        ],
    ),
    Case(
        "redox standards by name and by value",
        """date;place;solution;reading mV;T °C;offset mV;note
2024-05-01 12:00;Redox 2;ZoBell;231;21;-3;
2024-05-08 12:00;Redox 2;Light;470;20;-5;
2024-05-15 12:00;Redox 2;220 mV;212;20;-8;
""",
        [
            (
                2,
                "2024-05-01T12:00",
                "Redox 2",
                "",
                LEFT,
                CAL,
                [(NAN, "", 231.0, "mV", 21.0, "zobell")],
                {"offset": -3.0},
            ),
            (
                3,
                "2024-05-08T12:00",
                "Redox 2",
                "",
                LEFT,
                CAL,
                [(NAN, "", 470.0, "mV", 20.0, "light")],
                {"offset": -5.0},
            ),
            (
                4,
                "2024-05-15T12:00",
                "Redox 2",
                "",
                LEFT,
                CAL,
                [(220.0, "mV", 212.0, "mV", 20.0, "220 mV")],
                {"offset": -8.0},
            ),
        ],
    ),
    Case(
        "french, Windows-1252, hours written with h, the old probe named in the swap",
        """Date;Heure;Repère;N° de série;Opération;Pente avant (%);Pente après (%);Zéro avant (pH);Zéro après (pH);Commentaire
12/01/2024;10h15;AIT-10;E12;Étalonnage;96,2;99,1;6,95;7,00;RAS
15/02/2024;14h00;AIT-10;E12;Remplacement sonde;;;;;
16/02/2024;14h00;AIT-10;E13;Étalonnage;;99,8;;7,00;
""",
        [
            (2, "2024-01-12T10:15", "AIT-10", "E12", FOUND, CAL, [], {"slope": 96.2, "zero_point": 6.95}),
            (2, "2024-01-12T10:15", "AIT-10", "E12", LEFT, CAL, [], {"slope": 99.1, "zero_point": 7.0}),
            (4, "2024-02-16T14:00", "AIT-10", "E13", LEFT, CAL, [], {"slope": 99.8, "zero_point": 7.0}),
        ],
        installed=[("E12", "AIT-10", "", "2024-02-15T14:00"), ("E13", "AIT-10", "2024-02-15T14:00", "")],
        encoding="cp1252",
    ),
    Case(
        "portuguese, a date that only the decimal comma decides",
        """Data;Hora;Ponto;Sonda;Ação;Tampão 1;Leitura 1 (mV);Tampão 2;Leitura 2 (mV);Inclinação (%);Observações
12/05/2024;08:00;PH-7;X9;Calibração;7,00;-2,0;4,01;171,3;98,0;ok
""",
        [
            (
                2,
                "2024-05-12T08:00",
                "PH-7",
                "X9",
                LEFT,
                CAL,
                buffers(-2.0, 171.3, labels=("7,00", "4,01")),
                {"slope": 98.0},
            )
        ],
    ),
    Case(
        "spreadsheet days, slope as a ratio, zero without a unit",
        """Date,Point,Probe,Slope,Zero point
45292.375,AT-9,77,0.985,6.99
45323.5,AT-9,77.0,0.97,6.95
""",
        [
            (2, "2024-01-01T09:00", "AT-9", "77", LEFT, CAL, [], {"slope": 98.5, "zero_point": 6.99}),
            (3, "2024-02-01T12:00", "AT-9", "77", LEFT, CAL, [], {"slope": 97.0, "zero_point": 6.95}),
        ],
    ),
    Case(
        "old and new probe in one row",
        """date,point,event,old sensor,new sensor,reason
2024-02-01 08:00,AT-5,exchange,S1,S2,broken
2024-06-01 08:00,AT-5,exchange,S2,S3,slope
2024-03-01 08:00,AT-6,installed,,S9,
2024-07-01 08:00,AT-6,removed,S9,,
""",
        [],
        installed=[
            ("S1", "AT-5", "", "2024-02-01T08:00"),
            ("S2", "AT-5", "2024-02-01T08:00", "2024-06-01T08:00"),
            ("S3", "AT-5", "2024-06-01T08:00", ""),
            ("S9", "AT-6", "2024-03-01T08:00", "2024-07-01T08:00"),
        ],
    ),
    Case(
        "grab samples as standards, the action under another title",
        """Timestamp,Tag,Type,Reference pH,Reading pH,Temp
2024-02-01 08:00,AT-5,Grab sample check,7.12,7.30,25
2024-02-13 08:00,AT-5,Grab sample calibration,7.12,7.30,25
""",
        [
            (2, "2024-02-01T08:00", "AT-5", "", FOUND, VER, [(7.12, "pH", 7.3, "pH", 25.0, "sample")], {}),
            (3, "2024-02-13T08:00", "AT-5", "", FOUND, CAL, [(7.12, "pH", 7.3, "pH", 25.0, "sample")], {}),
        ],
    ),
    Case(
        "optical oxygen: phase angles",
        """date;point;serial;phase_0;phase_100;temp;pressure mbar
2024-02-01 08:00;O2-1;OD1;55.1;26.3;20;1001
""",
        [
            (
                2,
                "2024-02-01T08:00",
                "O2-1",
                "OD1",
                LEFT,
                CAL,
                [(0.0, "", 55.1, "deg", 20.0, "zero"), (NAN, "", 26.3, "deg", 20.0, "air")],
                {},
            )
        ],
    ),
    Case(
        "slope in mV per pH, asymmetry potential, serial with a number word",
        """Datum;Messstelle;Sensor-Nr;Steilheit (mV/pH);Asymmetriepotential (mV);Kalibrierart
01.02.2024 07:00;pH 1;123;-59,1593;4,2;2-Punkt
""",
        [(2, "2024-02-01T07:00", "pH 1", "123", LEFT, CAL, [], {"slope": 100.0, "offset": 4.2})],
    ),
    Case(
        "blank line, impossible day, total line",
        """Date,Tag,Slope %,Zero pH,

2024-02-01 10:00,AT-1,98,7.0,
2024-02-31 10:00,AT-1,98,7.0,
Total,2,,,
""",
        [(3, "2024-02-01T10:00", "AT-1", "", LEFT, CAL, [], {"slope": 98.0, "zero_point": 7.0})],
        refused=[(4, "no date that can be read"), (5, "no date that can be read")],
    ),
    Case(
        "dates that nothing decides are refused together",
        """Date,Tag,Slope %,Zero pH
01/02/2024,AT-1,98,7.0
03/04/2024,AT-1,98,7.0
""",
        [],
        refused=[(2, "day and month cannot be told apart"), (3, "day and month cannot be told apart")],
    ),
    Case(
        "words only",
        """When,Where,What was done,Result
2024-02-01 09:00,AT-1,calibrated 2 point,OK
2024-02-03 09:00,AT-1,rinsed,OK
""",
        [(2, "2024-02-01T09:00", "AT-1", "", LEFT, CAL, [], {})],
        cleaned=[(3, "AT-1")],
    ),
    Case(
        "a row of units under the header",
        """Date,Tag,Slope,Zero,T
,,%,pH,°C
2024-02-11 07:00,AT-1,98,7.0,25
""",
        [(3, "2024-02-11T07:00", "AT-1", "", LEFT, CAL, [], {"slope": 98.0, "zero_point": 7.0})],
    ),
    Case(
        "headers that say nothing, columns stated",
        """Q0,Q1,Q2,Q3
2024-02-11 10:00,98,7.0,AT-1
""",
        [(2, "2024-02-11T10:00", "AT-1", "", LEFT, CAL, [], {"slope": 98.0, "zero_point": 7.0})],
        columns={"time": "Q0", "slope [%]": "Q1", "zero point [pH]": "Q2", "point": "Q3"},
    ),
    Case(
        "standards once, found and left beside them",
        """date,point,probe,std1,found1,left1,std2,found2,left2,temp
2024-02-11 10:00,AT-1,P,7.00,7.08,7.00,4.01,4.15,4.02,25
""",
        [
            (
                2,
                "2024-02-11T10:00",
                "AT-1",
                "P",
                FOUND,
                CAL,
                [(7.0, "pH", 7.08, "pH", 25.0, "7.00"), (4.01, "pH", 4.15, "pH", 25.0, "4.01")],
                {},
            ),
            (
                2,
                "2024-02-11T10:00",
                "AT-1",
                "P",
                LEFT,
                CAL,
                [(7.0, "pH", 7.0, "pH", 25.0, "7.00"), (4.01, "pH", 4.02, "pH", 25.0, "4.01")],
                {},
            ),
        ],
    ),
    Case(
        "abbreviations with units in brackets, local time in summer",
        """Zeitstempel;KKS;Puffer1;U1[mV];T1[°C];Puffer2;U2[mV];T2[°C];S[%];pH0
2024-07-11 10:00;10QUA01;7,00;-1,2;25,0;4,01;176,9;25,0;100,7;6,98
""",
        [
            (
                2,
                "2024-07-11T08:00",
                "10QUA01",
                "",
                LEFT,
                CAL,
                buffers(-1.2, 176.9, 25.0, ("7,00", "4,01")),
                {"slope": 100.7, "zero_point": 6.98},
            )
        ],
        tz="Europe/Vienna",
    ),
    Case(
        "found, found again after cleaning, left",
        """date,tag,slope as found [%],slope after cleaning [%],slope as left [%]
2024-02-11 10:00,AT-1,91.0,97.5,99.0
""",
        [
            (2, "2024-02-11T10:00", "AT-1", "", FOUND, CAL, [], {"slope": 91.0}),
            (2, "2024-02-11T10:00", "AT-1", "", FOUND, CAL, [], {"slope": 97.5}),
            (2, "2024-02-11T10:00", "AT-1", "", LEFT, CAL, [], {"slope": 99.0}),
        ],
    ),
    Case(
        "a form: labels down, values beside them",
        """Calibration protocol
Date: ;2024-02-11 10:00
Tag;AT-1
Serial number;77
Buffer 1;7.00
mV 1;-1.2
Buffer 2;4.01
mV 2;176.9
""",
        [(2, "2024-02-11T10:00", "AT-1", "77", LEFT, CAL, buffers(-1.2, 176.9), {})],
    ),
    Case(
        "what stands above the header holds for all rows",
        """Point: AT-1
Serial number;77
Date;Slope %
2024-02-11 10:00;98
""",
        [(4, "2024-02-11T10:00", "AT-1", "77", LEFT, CAL, [], {"slope": 98.0})],
    ),
    Case(
        "quotes, embedded line ends, a cell that is no number",
        'date,tag,slope [%],zero [pH],comment\n2024-02-11 10:00,AT-1,n/a,7.0,"two\nlines"\n2024-02-12 10:00,AT-1,abc,7.1,\n',
        [
            (2, "2024-02-11T10:00", "AT-1", "", LEFT, CAL, [], {"zero_point": 7.0}),
            (4, "2024-02-12T10:00", "AT-1", "", LEFT, CAL, [], {"zero_point": 7.1}),
        ],
    ),
]
