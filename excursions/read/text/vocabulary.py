"""The words of calibration logs in English, German, French, Spanish, Portuguese, Italian and some northern languages, folded (no case, no accents).

Common practice, no source (cp).  A new word is added to its row; nothing else has to change.
"""

from __future__ import annotations


def words(text: str) -> frozenset[str]:
    """A set of words from one line of text."""
    return frozenset(text.split())


FOUND_WORDS = words(
    "found before gevonden fundet funnet funnen loydetty elotte vor vorher vorgefunden vorgefundene vorgefundener antes avant initial initiale inicial pre af angetroffen ennen "
    "angetroffene gefunden aangetroffen trovato encontrado encontrada encontrados trouve trouvee anfang istzustand prima fore przed pred elott inainte pirms enne"
)
LEFT_WORDS = words(
    "left corrected korrigiert corrige corregido after utana nach nachher belassen lasciato achtergelaten apres despues depois final finale post al hinterlassen hinterlassene adjusted justiert new neu "
    "neue nueva nuevo nouveau nouvelle dejado dejada deixado deixada laisse laissee eingestellt ajustado ajustada dopo efter etter jalkeen po dupa parast"
)

DEVIATIONS = words(
    "deviation dev abw error err abweichung fehler differenz difference diff ecart erreur desvio desviacion erro "
    "scarto scostamento errore afwijking avvikelse avvik afvigelse odchylka odchylenie poikkeama"
)
# In order: the first row one of whose words stands in the header decides, unless a measuring word stands beside it.
PLAIN_KINDS: tuple[tuple[str, frozenset[str]], ...] = (
    (
        "ignored",
        words(
            "order auftrag next due fallig faellig prochaine proxima proximo previous prev last letzte letzter derniere ultimo ultima "
            "signature unterschrift initials lot charge batch expiry expiration certificate zertifikat approved "
            "reviewed lfd row index id interval intervall stability stabilitat"
        )
        | DEVIATIONS,
    ),
    (
        "comment",
        words(
            "comment comments remark remarks rmk rmks description details beschreibung descripcion note notes bem anm obs bemerkung bemerkungen kommentar anmerkung observation "
            "observations observaciones observacoes remarque remarques comentario comentarios commentaire text notiz opmerking opmerkingen uwagi anmarkning anmarkningar merknad observacao observazioni osservazioni annotazioni anmaerkning bemaerkning huomautus huomautukset huom poznamka megjegyzes"
        ),
    ),
    (
        "ignored",
        words(
            "paraaf visa visto sigla rubrica podpis parafe technician operator tech prufer pruefer by bearbeiter durchgefuhrt technicien tecnico user benutzer "
            "inspector analyst operatore uitvoerder operateur operario operatrice analista wykonal wykonawca kto door uitgevoerd ausgefuhrt durchgefuehrt utfort udfort hecho responsable who durch response t90 ansprechzeit settling initiales name"
        ),
    ),
    (
        "result",
        words("result ergebnis resultat resultado pass passed verdict befund outcome esito uitslag wynik"),
    ),
    (
        "action",
        words(
            "action activity aktion aktivitat tatigkeit taetigkeit vorgang accion acao event work operation procedure "
            "massnahme arbeit intervention art maintenance ereignis actividad operacion done kalibrierart job operacao operazione intervento toimenpide czynnosc"
        ),
    ),
    ("phase", words("phase stage zustand state condition step schritt etape fase etap")),
)
# Beside a measuring word these say that the column is no measurement of this calibration after all.
NOT_THIS_ONE = words("last previous prev letzte letzter lot charge next expiry due ultimo ultima derniere")

TIMES = words(
    "date datum dat fecha data dato timestamp datetime zeitpunkt zeitstempel when day performed calibrated kalibriert "
    "etalonne calibrado collected completed fertig erledigt termine realizado realise eseguito utfart tarih paiva pvm paivamaara provtagningstid"
)
CLOCKS = words("time zeit uhrzeit heure hora ora tijd tid klockslag godzina klo kello")
POINTS = words(
    "point tag loop position location messstelle mst stelle repere punto ponto instrument equipment analyser analyzer "
    "merohely instr equipo equipement appareil aparat equipamento strumento punkt kks asset place ort standort lieu emplacement ubicacion local messpunkt tagname malepunkt malested voie canal kanal malha lazo boucle anello regelkreis messkreis where station meetpunt monsterpunt instrumento stanowisko provested provepunkt urzadzenie misto matpunkt provpunkt sigla mittauspiste naytepiste tagnummer tagnr probenort probeort probestelle entnahmestelle entnahmeort provtagningspunkt"
)
# Alone over a column they name points, where no other column does.
VESSELS = words(
    "device tank vessel basin becken behalter reactor reaktor reacteur cuve tanque sampler stream line site area bassin balsa"
)
SERIALS = words(
    "serial sn snr serien seriennummer seriennr sernr fabriknummer fabriknr serie matricola serienummer serienr seryjny sarjanumero valmistusnumero"
)
PROBES = SERIALS | words(
    "probe sensor sonde sonda electrode elektrode electrodo eletrodo fuhler fuehler capteur givare giver szonda"
)
OLD = words(
    "old removed alt alte alter ausgebaut ausgebaute retirado retirada removido depose ancien ancienne anterior out"
)
MODELS = words("model type typ modell modele modelo part artikel")
MEASURANDS = words(
    "parameter measurand messgrosse messgroesse analyte parametro parametre quantity grandeur kind medium"
)
STANDARDS = words(
    "prufgas pruefgas kalibriergas testgas eichgas spangas applied soluzione formazin formazine formazina roztok roztwor liuos oldat solutie bufor buffer buf buff tampone buffert standard std stds puffer pufferlosung tampon tampao solution solucion solucao losung loesung reference ref "
    "lab laborwert labwert laboratory referenz referencia nominal expected sollwert target certified known patron etalon padrao handmessgerat handgerat handmessung vergleichsgerat vergleichsmessung handheld handmeter portable winkler titration theoretical theoretisch theorique teorico wzorca wzorzec referentie kalibratievloeistof standardi kalibrierlosung bezugswert soll"
)
RAWS = words(
    "signal raw roh rohwert reading readings messwert measured indicated display anzeige lectura lecture leitura "
    "potential potenzial spannung current strom phase angle winkel mv na ua pa voltage istwert ist response measurement read meas actual avlast "
    "indication mesure medida lue lu lus leido lida observed rdg rdgs gemessen abgelesen gemeten aflezing uitlezing aanwijzing meting lettura letture wskazanie wskazania odczyt avlasning lukema online inline"
)
RAW_UNITS = words("mv v na pa ua ma us ms deg ° rad ohm kohm mohm hz khz mhz counts cts")
ALTITUDES = words("altitude altitud elevation hohe seehohe hoehe seehoehe quota hoogte")
SALINITIES = words("salinity salinitat salinite salinidad salinidade salinita saliniteit salzgehalt")
PRESSURES = words("pressure press patm druck luftdruck presion pression pressao barometer baro barometric")
FIGURES: tuple[tuple[str, frozenset[str]], ...] = (
    (
        "cell_constant",
        words(
            "cell zellkonstante zellenkonstante zelle cellule celda celula kcell zellfaktor cella celkonstante cellekonstant cellekonst"
        ),
    ),
    (
        "slope",
        words(
            "slope steilheit pente pendiente inclinacao declive sensitivity empfindlichkeit sensibilite sensibilidad "
            "sensibilidade efficiency effizienz slp slopes helling lutning nachylenie pendenza kulmakerroin jyrkkyys steilheid branthet stlh steilh strmost meredekseg"
        ),
    ),
    ("gain", words("gain verstarkung verstaerkung factor faktor facteur ganancia ganho coefficient")),
    ("span", words("span spanne messspanne etendue")),
    (
        "zero_point",
        words(
            "zero nullpunkt null cero asymmetry asymmetrie asymmetriepotential isopotential zp nullpunktverschiebung nulpunt nollpunkt nollapiste zerowy nulowy nullstrom np"
        ),
    ),
    ("offset", words("offset offs ofs versatz decalage desplazamiento")),
)
FIXED = words("air luft aire zero null cero n2 nitrogen stickstoff zobell light quinhydrone")
VALUES = words("value wert valeur valor valore waarde varde verdi vaerdi arvo wartosc hodnota")
UNIT_WORDS = words(
    "unit units einheit einheiten unite unites unidad unidades unidade uom jednostka eenheid enhet unita yksikko"
)
FILLERS = words(
    "as in at of to the for de du da do der des le la el on justage justierung adjustment adjusting ajuste ajustage "
    "calibration kalibrierung etalonnage calibracion calibracao como"
)
CLEANING = words("cleaning cleaned clean reinigung gereinigt nettoyage limpieza limpeza wash washing spulen")
