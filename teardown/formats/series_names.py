"""Names of columns in the languages of the trade, plain: lower case, no accents, words apart by one space."""


def _list(text: str) -> tuple[str, ...]:
    return tuple(" ".join(name.split()) for name in text.split(","))


# quantity: the dimension of its unit, and names in order of how sure they are
NAMES: dict[str, tuple[str, tuple[str, ...]]] = {
    "test_time_second": (
        "time",
        _list("""
            test time, total time, elapsed time, time since start, run time, running time, experiment
            time, time elapsed, testzeit, pruefzeit, prufzeit, gesamtzeit, laufzeit, versuchszeit,
            messzeit, temps total, temps ecoule, temps d essai, tiempo total, tiempo transcurrido, tempo
            totale, tempo di prova, time, zeit, temps, tiempo, tempo, tijd, tid, t, runtime, testtime,
            elapsed, cumulative time
        """),
    ),
    "step_time_second": (
        "time",
        _list("""
            step time, time in step, schrittzeit, schritt zeit, temps de pas, temps etape, temps pas,
            steptime, tiempo de paso, tiempo paso, tempo di passo, tempo passo, temps d etape, temps de l
            etape, staptijd, segment time, time step, section time, programmzeit
        """),
    ),
    "unix_time_second": (
        "clock",
        _list("""
            unix time, unixtime, epoch, epoch time, date time, datetime, date and time, timestamp, time
            stamp, absolute time, abs time, real time, clock time, wall clock, system time, local time,
            utc, utc time, datum uhrzeit, datum zeit, datum und uhrzeit, zeitstempel, datum, datum tijd,
            tijdstempel, date heure, date et heure, horodatage, date, fecha hora, fecha y hora, fecha,
            data ora, data e ora, data, clock, recorded at, time of day, uhrzeit
        """),
    ),
    "voltage_volt": (
        "voltage",
        _list("""
            voltage, cell voltage, terminal voltage, battery voltage, test voltage, measured voltage,
            voltage measured, spannung, zellspannung, klemmenspannung, tension, tension cellule, tension
            de cellule, voltaje, tension de celda, tensione, tensione di cella, spanning, potential,
            cell potential, ecell, e cell, vcell, v cell, ucell, u cell, u zelle, uzelle, u, v, volt,
            volts, e, working voltage, voltage actual
        """),
    ),
    "current_ampere": (
        "current",
        _list("""
            current, cell current, battery current, test current, measured current, current measured,
            applied current, strom, zellstrom, stromstaerke, stromstarke, courant, intensite, corriente,
            corrente, intensidad, stroom, i, icell, i cell, i zelle, amps, amp, ampere, i actual,
            current actual
        """),
    ),
    "cycle_count": (
        "number",
        _list("""
            cycle count, cycle number, cycle index, cycle no, cycle nr, cycle id, cycle, cycles,
            cyclenumber, cycleindex, cyclecount, total cycle, zyklus, zyklusnummer, zykluszahl,
            zyklennummer, zyklus nr, zyklenzahl, numero de cycle, no cycle, n cycle, ciclo, numero de
            ciclo, cyclus, cyclusnummer, cyc, cyc no, loop
        """),
    ),
    "step_count": (
        "number",
        _list("""
            step count, step number total, running step, step sequence, step execution, total step,
            schrittzaehler
        """),
    ),
    "step_id": (
        "number",
        _list("""
            step id, step, step number, step index, step no, step nr, stepindex, stepnumber, schritt,
            schrittnummer, schritt nr, etape, pas, paso, passo, program step, segment, ns, line, zeile,
            prozedurschritt, step num, stap, stapnummer
        """),
    ),
    "step_type": (
        "text",
        _list("""
            step type, step name, mode, state, status, step mode, type, modus, zustand, schritttyp,
            schrittart, betriebsart, operation, operating mode, type de pas, etat, estado, stato,
            regime, modo, work mode, direction, vorgang, phase, step status, command, kind, action
        """),
    ),
    "record_index": (
        "number",
        _list("""
            record index, record, record number, record no, data point, datapoint, point, index, data
            index, rec, rec no, nr, no, id, row, point number, messpunkt, datensatz, laufende nummer,
            lfd nr, number
        """),
    ),
    "ambient_temperature_celsius": (
        "temperature",
        _list("""
            ambient temperature, chamber temperature, temperature, temp, temperatur, kammertemperatur,
            umgebungstemperatur, temperature chamber, temperatura, temperature ambiante, oven
            temperature, climate chamber temperature, t chamber, t amb, t, ambient temp, chamber temp
        """),
    ),
    "surface_temperature_celsius": (
        "temperature",
        _list("""
            surface temperature, cell temperature, zelltemperatur, temperature cell, surface temp, cell
            temp, case temperature
        """),
    ),
    "power_watt": (
        "power",
        _list("""
            power, leistung, puissance, potencia, potenza, p
        """),
    ),
    "internal_resistance_ohm": (
        "resistance",
        _list("""
            internal resistance, resistance, innenwiderstand, resistance interne, resistencia interna,
            resistenza interna
        """),
    ),
    "dc_internal_resistance_ohm": (
        "resistance",
        _list("""
            dc internal resistance, dc resistance, direct current resistance, gleichstromwiderstand,
            dc innenwiderstand
        """),
    ),
    "ac_internal_resistance_ohm": (
        "resistance",
        _list("""
            ac internal resistance, ac resistance, alternating current resistance, wechselstromwiderstand,
            ac innenwiderstand
        """),
    ),
    "frequency_hertz": ("frequency", _list("frequency, frequenz, frequence, frecuencia, frequenza")),
    "real_impedance_ohm": ("resistance", _list("real impedance, impedance real part, realteil der impedanz")),
    "imaginary_impedance_ohm": (
        "resistance",
        _list("imaginary impedance, impedance imaginary part, imaginaerteil der impedanz"),
    ),
    "absolute_impedance_ohm": (
        "resistance",
        _list("absolute impedance, impedance modulus, impedance magnitude, impedance, impedanz"),
    ),
    "phase_degree": ("angle", _list("phase angle, phase shift, phasenwinkel, angle de phase")),
}
CHARGE_WORDS = frozenset(
    _list("""
        charge, charging, chg, chrg, ch, lade, laden, lad, geladen, carga, carica, laadt, laad, cha
    """)
)
DISCHARGE_WORDS = frozenset(
    _list("""
        discharge, discharging, dischg, dchg, dischrg, dis, dch, entlade, entladen, entladung, entl,
        entladene, decharge, descarga, scarica, disch, dchrg
    """)
)
CAPACITY_WORDS = frozenset(
    _list("""
        capacity, cap, capac, kapazitaet, kapazitat, ladung, ladungsmenge, capacite, capacidad,
        capacita, capaciteit, q, charge, ah, quantity, amp hours, amphours
    """)
)
ENERGY_WORDS = frozenset(
    _list("""
        energy, energie, energia, wh, e, w
    """)
)
# words that say that a column is not the reading of the cell itself
OTHER_READINGS = frozenset(
    _list("""
        aux, auxiliary, average, avg, ce, command, control, counter, cutoff, delta, density, di, diff,
        difference, dq, dt, dv, end, error, final, initial, limit, lower, max, maximum, mean, median,
        min, minimum, mittel, mittlere, mittlerer, noise, ocv, open, peak, per, range, ratio, ref,
        reference, rms, sense1, set, setpoint, soll, specific, spezifisch, start, std, target, upper, we
    """)
)
