"""Words over the columns of lists of laboratory samples, folded.  Common practice, no source (cp).

A new word is added to its row; nothing else has to change.
"""

from __future__ import annotations

from excursions.read.text.vocabulary import words

VALUES = words(
    "value result reading wert messwert ergebnis laborwert resultat valeur valor resultado lab labo laboratory labor analysis analyse analisi analisis analysenwert measured reference lecture laboratorio risultato resultaat wynik matvarde varde valore waarde meetwaarde tulos"
)
SAMPLES = words("sample samples grab muestra echantillon amostra campione monster probka")
TESTS = words(
    "test tests parameter determinand analyte prufung ensayo essai parametro oznaczenie ensaio analyte"
)
UNITS = words(
    "unit units einheit einheiten unite unites unidad unidades unidade uom unita eenheid enhet jednostka yksikko"
)
MEANS = words("mean average avg mittel mittelwert moyenne media promedio gemiddelde medel medelvarde srednia")
# In a column of states: the laboratory itself takes the result back.
WITHDRAWN = words(
    "cancelled canceled rejected withdrawn void voided invalid invalidated storniert verworfen ungultig zuruckgezogen annule rejete "
    "invalide anulado rechazado invalido annullato respinto geannuleerd afgekeurd ongeldig anulowany odrzucony ogiltig forkastad"
)
