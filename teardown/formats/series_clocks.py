"""Times as files write them: durations, dates with times, clocks that are set back in autumn."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from teardown.science.electrochemistry.columns import Array
from teardown.science.errors import Remark

DURATION = r"^\s*(?:(\d+)\s*(?:d\w*\.?|T)?[ ,]+|(\d+)d)?\s*(\d+):(\d{1,2})(?::(\d{1,2})(?:[.,](\d+))?)?\s*$"
DAYS_BEFORE = r"^\s*(\d+)[.:-](\d{1,2}):(\d{2}):(\d{2})(?:[.,](\d+))?\s*$"
PERIOD = r"^\s*P(?:(\d+)D)?T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)(?:[.,](\d+))?S)?\s*$"
COMPACT = r"^\s*(\d{4})(\d{2})(\d{2})[T ](\d{2})(\d{2})(\d{2})"
STAMP = (
    r"^\s*(\d{1,4})[./-](\d{1,2}|[A-Za-z]{3})[./-](\d{1,4})"
    r"(?:[T ,;]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,:](\d+))?)?\s*([AaPp][Mm])?\s*(Z|[+-]\d{2}:?\d{2})?)?\s*$"
)
PRINTED = re.compile(r"[+-]?(\d*)(?:[.,](\d*))?(?:[eE]([+-]?\d+))?")
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
HOUR_S, DAY_S = 3600.0, 86400.0


def durations(cells: pl.Series) -> Array:
    """Read ``[d ]hh:mm:ss[.f]`` as seconds; hours may exceed 24. NaN where a cell is none.

    Days may stand before a point, a colon or a hyphen too; periods of ISO 8601 (``P1DT2H3M4.5S``) are read.
    """
    parts = cells.str.extract_groups(DURATION).struct.unnest()
    number = [_floats(parts[name]) for name in parts.columns]
    days = np.nan_to_num(number[0]) + np.nan_to_num(number[1])
    second = np.nan_to_num(number[4]) + _fraction(parts[parts.columns[5]])
    read = days * DAY_S + number[2] * HOUR_S + number[3] * 60 + second
    for form in (DAYS_BEFORE, PERIOD):
        if np.isnan(read).any() and bool(cells.str.contains(form).any()):
            read = np.where(np.isnan(read), _days_and_time(cells, form), read)
    return read


def _days_and_time(cells: pl.Series, form: str) -> Array:
    """Read days, hours, minutes, seconds and their fraction; NaN where one is more than the next holds."""
    parts = cells.str.extract_groups(form).struct.unnest()
    day, hour, minute, second = (_floats(parts[name]) for name in parts.columns[:4])
    told = np.isfinite(np.stack((day, hour, minute, second))).any(axis=0)
    day, hour, minute, second = (np.nan_to_num(part) for part in (day, hour, minute, second))
    told &= (form == PERIOD) | ((hour < 24) & (minute < 60) & (second < 60))
    total = day * DAY_S + hour * HOUR_S + minute * 60 + second + _fraction(parts[parts.columns[4]])
    return np.where(told, total, np.nan)


def _floats(cells: pl.Series) -> Array:
    return cells.cast(pl.Float64, strict=False).to_numpy().astype(np.float64)


def _fraction(cells: pl.Series) -> Array:
    """Read the digits behind the point of a second."""
    return np.nan_to_num(_floats(pl.Series("0.") if cells.len() == 0 else "0." + cells))


def stamps(cells: pl.Series, *, form: str | None = None) -> tuple[Array, dict[str, bool | int | str]]:
    """Read dates with times as seconds of a clock without zone (offsets that stand in the cell are taken
    off).

    Parameters
    ----------
    cells : polars Series of text
    form : str, optional
        A stated form with the usual per-cent signs; else the order is found from the cells themselves.

    Returns
    -------
    ndarray of float, shape (cells,)
        Seconds since 1970-01-01 as the clock showed them; NaN where a cell is no date.
    dict
        ``ambiguous`` (day and month cannot be told), ``bad`` (cells that are no date), ``example``,
        ``dated_only`` (no time of day), ``zoned`` (an offset stood there).
    """
    if form:
        read = cells.str.strip_chars().str.to_datetime(form, strict=False, time_unit="us")
        seconds = read.dt.replace_time_zone(None).dt.timestamp("us").cast(pl.Float64).to_numpy() / 1e6
        return seconds, _told(cells, seconds)
    cells = cells.str.replace(COMPACT, "${1}-${2}-${3} ${4}:${5}:${6}")
    parts = cells.str.extract_groups(STAMP).struct.unnest()
    first, second, third, hour, minute, sec, fraction, half, zone = (parts[name] for name in parts.columns)
    year, month, day, ambiguous = _ordered(cells, first, second, third)
    seconds = _days(year, month, day) * DAY_S
    hours = np.nan_to_num(_floats(hour))
    if half.null_count() < half.len():
        late = half.str.to_lowercase().fill_null("").to_numpy() == "pm"
        named = half.is_not_null().to_numpy()
        hours = np.where(named, hours % 12 + 12 * late, hours)
    seconds += (
        hours * HOUR_S
        + np.nan_to_num(_floats(minute)) * 60
        + np.nan_to_num(_floats(sec))
        + _fraction(fraction)
    )
    zoned = zone.null_count() < zone.len()
    if zoned:
        seconds -= _offsets(zone)
    told = _told(cells, seconds)
    return seconds, told | {
        "ambiguous": ambiguous,
        "dated_only": hour.null_count() == hour.len(),
        "zoned": zoned,
    }


def _told(cells: pl.Series, seconds: Array) -> dict[str, bool | int | str]:
    bad = np.isnan(seconds) & (cells.fill_null("").str.strip_chars() != "").to_numpy()
    at = int(np.argmax(bad)) if bad.any() else 0
    return {
        "bad": int(bad.sum()),
        "example": str(cells[at]) if bad.any() else "",
        "row": at,
        "ambiguous": False,
        "dated_only": False,
        "zoned": False,
    }


def _ordered(
    cells: pl.Series, first: pl.Series, second: pl.Series, third: pl.Series
) -> tuple[Array, Array, Array, bool]:
    """Tell year, month and day apart; dots mean day first, a four-digit start year first."""
    named = second.str.contains("[A-Za-z]").fill_null(value=False).to_numpy()
    a, c = _floats(first), _floats(third)
    b = _floats(second)
    if named.any():
        words = second.str.to_lowercase().fill_null("").to_list()
        b = np.where(named, [MONTHS.index(w) + 1 if w in MONTHS else np.nan for w in words], b)
        return _century(c), b, a, False
    if np.nanmax(a, initial=0) > 31:
        return a, b, c, False
    dotted = bool(cells.str.contains(r"^\s*\d{1,2}\.").fill_null(value=False).any())
    if dotted or np.nanmax(a, initial=0) > 12:
        return _century(c), b, a, False
    if np.nanmax(b, initial=0) > 12:
        return _century(c), a, b, False
    return _century(c), b, a, True


def _century(year: Array) -> Array:
    return np.where(year < 100, year + 2000, year)


def _days(year: Array, month: Array, day: Array) -> Array:
    """Count days since 1970-01-01 in the Gregorian calendar; NaN where there is no such day."""
    ok = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year > 1900)
    y = np.where(ok, year, 1970).astype(np.int64)
    m = np.where(ok, month, 1).astype(np.int64)
    d = np.where(ok, day, 1).astype(np.int64)
    months = (y - 1970) * 12 + m - 1
    begin = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    length = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64) - begin
    return np.where(ok & (d <= length), begin + d - 1, np.nan)


def _offsets(zone: pl.Series) -> Array:
    groups = zone.str.extract_groups(r"([+-])(\d{2}):?(\d{2})").struct.unnest()
    sign, hours, minutes = (groups[name] for name in groups.columns)
    way = np.where(sign.fill_null("+").to_numpy() == "-", -1.0, 1.0)
    return way * (np.nan_to_num(_floats(hours)) * HOUR_S + np.nan_to_num(_floats(minutes)) * 60)


def run_on(clock_s: Array, *, zone: str | None = None) -> tuple[Array, list[Remark]]:
    """Turn a local clock into one that runs on: rows after it was set back are read as winter time.

    Parameters
    ----------
    clock_s : ndarray of float, shape (records,)
        Seconds as the clock showed them.
    zone : str, optional
        Name of the zone (IANA), where the map tells it; then the result is universal time.

    Returns
    -------
    ndarray, list of Remark
    """
    clock = clock_s.copy()
    remarks: list[Remark] = []
    step = np.diff(clock)
    usual = float(np.median(step[step > 0])) if np.any(step > 0) else 0.0
    slack = max(20 * usual, 120.0)
    for k in (np.flatnonzero(step < -slack / 20) + 1).tolist():
        if abs(step[k - 1] + HOUR_S - usual) <= min(slack, 1500.0) and _season(clock_s[k]) == "autumn":
            clock[k:] += HOUR_S
            remarks.append(
                Remark(
                    "CLOCK_SET_BACK",
                    "info",
                    "The clock was set back once; times after it were read as winter time.",
                    HOUR_S,
                    f"data row {k + 1}",
                    "Nothing needs to be done; state the time zone in the column map to be sure.",
                )
            )
    if zone is None:
        clock, more = _spring(clock, clock_s, usual)
        return clock, remarks + more
    place = ZoneInfo(zone)
    started = datetime.fromtimestamp(float(clock_s[0]), UTC).replace(tzinfo=None)
    shift = started.replace(tzinfo=place).utcoffset() or timedelta(0)
    clock, more = _spring(clock, clock_s, usual)
    return clock - shift.total_seconds(), remarks + more


def _spring(clock: Array, shown: Array, usual: float) -> tuple[Array, list[Remark]]:
    """Take out the hour that a clock skips in spring, where it skips it at night and nothing else is
    missing.
    """
    step = np.diff(clock)
    for k in (np.flatnonzero(np.abs(step - HOUR_S - usual) <= max(2 * usual, 5.0)) + 1).tolist():
        before = datetime.fromtimestamp(float(shown[k - 1]), UTC)
        after = datetime.fromtimestamp(float(shown[k]), UTC)
        if (
            usual < 1200
            and before.weekday() == 6
            and before.hour in (0, 1, 2)
            and after.hour in (2, 3)
            and _season(shown[k]) == "spring"
        ):
            moved = clock.copy()
            moved[k:] -= HOUR_S
            text = "The clock skips one hour in a spring night; it was read as set forward, not as a gap."
            return moved, [
                Remark(
                    "CLOCK_SET_FORWARD",
                    "warning",
                    text,
                    HOUR_S,
                    f"data row {k + 1}",
                    "If the cycler really paused for that hour, state the time zone or give the test time.",
                )
            ]
    return clock, []


def _season(seconds: float) -> str:
    """Name the season in which clocks are set: both hemispheres set them in the same months."""
    month = datetime.fromtimestamp(float(seconds), UTC).month
    return "spring" if month in (3, 4, 9) else "autumn" if month in (10, 11) else "none"


def printed_step(cells: Sequence[str]) -> tuple[float, int]:
    """Give the smallest step a column was printed with, and the most digits behind the point.

    Cells near the largest decide, so that numbers printed with a fixed count of digits are not taken for
    finer than they are; 0 where full precision was printed.
    """
    found: list[tuple[float, float, int]] = []
    for cell in cells:
        match = PRINTED.fullmatch(cell.strip())
        if match is None or not (match[1] or match[2]):
            continue
        places = len(match[2] or "")
        digits = len((match[1] + (match[2] or "")).lstrip("0"))
        exponent = int(match[3] or 0)
        value = abs(float((match[1] or "0") + "." + (match[2] or "0"))) * 10.0**exponent
        found.append((value, 0.0 if digits >= 12 else 10.0 ** (exponent - places), places))
    if not found:
        return 0.0, 0
    # not the very largest: a meter out of range prints what it never measures
    large = sorted(value for value, _, _ in found)[int(0.95 * (len(found) - 1))]
    near = [step for value, step, _ in found if 0.5 * large <= value <= 2 * large]
    return min(near), max(p for _, _, p in found)
